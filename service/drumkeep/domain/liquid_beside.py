"""What surrounds a drum at the moment when it is measured."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import NO_SENSOR_K
from drumkeep.domain.film import film_at
from drumkeep.domain.liquid_heaters import blanket_r
from drumkeep.domain.liquid_observed import Beside, Reading, depth_of
from drumkeep.domain.liquid_state import LiquidStates, likely_mean
from drumkeep.domain.liquid_surroundings import PlaceHeat, liquid_of
from drumkeep.domain.products import Product
from drumkeep.domain.sun import facing_sun
from drumkeep.thermal.boundary import side_film, through_side
from drumkeep.thermal.film_table import WALL_SHARE
from drumkeep.thermal.parameter_sets import LIKELY, SETS
from drumkeep.thermal.stratified import Liquid
from drumkeep.thermal.wall import liquid_share

Floats = NDArray[np.float64]


def beside_of(
    record: LiquidStates,
    *,
    reading: Reading,
    product: Product,
    share: float,
    heat: PlaceHeat | None,
    step: int,
) -> Beside:
    """Return what surrounds the one drum in ``record`` when a reading is taken of it.

    Parameters
    ----------
    record
        Shape (1,).
    reading
        What was measured: of the liquid or of the wall.
    product
        What is in it.
    share
        Of its side that sees the air, of what its place leaves it to see.
    heat
        The place where it stands; None where it is not known.
    step
        Grid step of the reading.
    """
    air_c = float(heat.air.window(first=step, last=step)[0]) if heat else float("nan")
    mean = likely_mean(record)
    beside = Beside(
        step=step,
        side_c=air_c,
        sensor_error_k=heat.air.error_at(step) if heat else NO_SENSOR_K,
        depth_m=depth_of(
            mass_kg=float(record["mass_kg"][0]), density_kg_m3=product.properties.density_kg_m3
        ),
    )
    if not reading.on_wall or heat is None or not np.isfinite([air_c, mean[0]]).all():
        return beside
    liquid, side_c = _faced(record, product=product, share=share, heat=heat, step=step)
    part = liquid_share(liquid, side_c=side_c, mean_c=mean)
    return replace(beside, side_c=float(side_c[0]), liquid_share=float(part[0]))


def _faced(
    record: LiquidStates, *, product: Product, share: float, heat: PlaceHeat, step: int
) -> tuple[Liquid, Floats]:
    """Return the liquid with the film over its side as it is then, and what the side faces, °C."""
    mean = likely_mean(record)
    air = heat.air.window(first=step, last=step)
    bare = np.asarray(side_film(heat.setting, surface_c=air + WALL_SHARE * (mean - air), air_c=air))
    side = through_side(
        bare,
        share=share * heat.setting.share,
        blanket_r_m2k_w=heat.setting.blanket_r_m2k_w + blanket_r(record, step=step),
    )
    faced = air
    if heat.sun is not None:
        faced = facing_sun(
            np.repeat(air[None, :], SETS, axis=0),
            irradiance_w_m2=heat.sun.side_w_m2[:, step - heat.air.first, None],
            mean_c=mean,
            absorptance=heat.absorptance,
            film_w_m2k=bare,
        )[LIKELY]
    liquid = liquid_of(
        [product], share=np.array([share]), mass_kg=record["mass_kg"], films=[heat.films]
    )
    factor = film_at(heat.film, step=step).factor
    return replace(liquid, side_w_m2k=np.asarray(side * factor)), faced
