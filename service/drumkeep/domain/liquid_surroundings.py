"""What surrounds the liquid: places as heat, their air as arrays, products as arrays."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import PlaceAir
from drumkeep.domain.air_ahead import AirClues
from drumkeep.domain.film import FilmInForce, film_at
from drumkeep.domain.liquid_memory import MemoryLimits
from drumkeep.domain.products import Product, Properties, Side
from drumkeep.domain.sun import DEFAULT_ABSORPTANCE, Sun
from drumkeep.thermal.boundary import Exposure, Setting, exposure
from drumkeep.thermal.constants import DRUM_STEEL_KG, GRAVITY_M_S2
from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.parameter_sets import NAMED_SETTING
from drumkeep.thermal.properties import (
    NODES_C,
    REFERENCE_C,
    VISCOSITY_REFERENCE_C,
    Row,
    expanding,
    liquid_table,
    straight,
    viscosity,
)
from drumkeep.thermal.stratified import Liquid, depth

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

COLD_C: Final = 5.0
DRUM_DEPTH_M: Final = 0.8
WALL_K: Final = 5.0
LAST_LAYER_SHARE: Final = 0.5
"""For how fast doubt fades: the film of a cold, full drum by Evans and Stefany, and half of that,
because the layer that comes last, at the bottom in warmth and on top in cold, lags the mean."""


@dataclass(frozen=True)
class PlaceHeat:
    """A place as the liquid feels it; ``humidity`` in %, None where none is measured lately.

    ``setting`` names its films; ``film`` says in order of time by what factor what was learned of
    the place differs from them (:meth:`films_at`). ``clues`` say what is known of its air to come.
    ``sun`` runs over the steps of ``air``; None under a roof. ``sky`` is what of it may come again
    tomorrow where the sun was measured: a day's clouds are not the next one's.
    """

    air: PlaceAir
    setting: Setting
    site_kpa: float
    floor: PlaceAir | None = None
    humidity: float | None = None
    film: Sequence[FilmInForce] = ()
    clues: AirClues = field(default_factory=AirClues)
    sun: Sun | None = None
    sky: Sun | None = None
    absorptance: float = DEFAULT_ABSORPTANCE

    def ahead(self) -> "PlaceHeat":
        """Return the place as the days ahead have it: whatever sun may come at each hour."""
        return self if self.sky is None else replace(self, sun=self.sky)

    @cached_property
    def films(self) -> Exposure:
        """Films that the setting names, at the reference state of ``thermal.boundary``."""
        return exposure(self.setting)

    def films_at(self, step: int) -> Exposure:
        """Return the films as they are in force at a step."""
        factor = film_at(self.film, step=step).factor
        return replace(
            self.films,
            side_w_m2k=self.films.side_w_m2k * factor,
            top_w_m2k=self.films.top_w_m2k * factor,
            bottom_w_m2k=self.films.bottom_w_m2k * factor,
        )


class Weather:
    """Air and what bottoms face, of all places, as arrays (place, step)."""

    def __init__(self, heats: Sequence[PlaceHeat], *, first: int, last: int) -> None:
        self.first = first

        def rows(pick: str, *, floor: bool = False) -> Floats:
            chosen = [h.floor if floor and h.floor is not None else h.air for h in heats]
            start = [first - air.first for air in chosen]
            count = last - first + 1
            cut = [
                getattr(air, pick)[begin : begin + count]
                for air, begin in zip(chosen, start, strict=True)
            ]
            return np.stack(cut) if cut else np.empty((0, count))

        self.likely, self.low, self.high = rows("likely"), rows("low"), rows("high")
        self.known = rows("known")
        floor = rows("likely", floor=True)
        share = np.array([h.films.floor_share for h in heats], dtype=np.float64)[:, None]
        mixed = share * floor + (1.0 - share) * self.likely
        self.floor = np.where(np.isfinite(mixed), mixed, floor)
        self.error_k = rows("error_k")
        self.site_kpa = np.array([h.site_kpa for h in heats], dtype=np.float64)

    def likely_at(self, step: int, *, at: Indices, mean_c: Floats) -> Floats:
        """Likely air of each drum at a step; its own mean where no sensor ever was."""
        air = self.likely[at, step - self.first]
        return np.where(np.isfinite(air), air, mean_c)

    def error_at(self, step: int, *, at: Indices) -> Floats:
        """Error of the air sensors of each drum's place at a step, K."""
        return np.asarray(self.error_k[at, step - self.first], dtype=np.float64)

    def over(
        self, step: int, *, at: Indices, mean_c: Floats
    ) -> tuple[Floats, Floats, NDArray[np.bool_], Floats]:
        """Air (3, drum), floor (3, drum), whether known, and the doubt in it, over a step's length.

        The doubt is high − low, and where the air is known half of that: its mean is right, and it
        strayed as far either way.
        """
        k = step - self.first

        def middle(values: Floats) -> Floats:
            return np.asarray(0.5 * (values[at, k] + values[at, k + 1]), dtype=np.float64)

        likely = middle(self.likely)
        likely = np.where(np.isfinite(likely), likely, mean_c)
        low, high = middle(self.low), middle(self.high)
        known = np.asarray(self.known[at, k] & self.known[at, k + 1], dtype=np.bool_)
        air = np.stack([np.where(known, likely, low), likely, np.where(known, likely, high)])
        floor = middle(self.floor)
        floor = np.where(np.isfinite(floor), floor, mean_c)
        below = np.where(known, floor, floor + (air - likely))
        return air, below, known, np.where(known, 0.5, 1.0) * (high - low)


def memory_limits(products: Sequence[Product]) -> MemoryLimits:
    """Limits of each drum's product as arrays."""

    def each(name: str) -> Floats:
        return np.array([getattr(p.limits, name) for p in products], dtype=np.float64)

    return MemoryLimits(
        iso=np.array([p.side is Side.ISO for p in products], dtype=np.bool_),
        seed_c=each("seed_c"),
        deep_c=each("deep_seed_c"),
        redissolve_c=each("redissolve_c"),
        gassing_c=each("gassing_c"),
        storage_low_c=each("storage_low_c"),
        storage_high_c=each("storage_high_c"),
    )


def table_of(properties: Properties) -> Floats:
    """Return a product's properties by temperature (``thermal.properties.liquid_table``)."""
    own = properties
    expansion = own.expansion_1_k
    density = expanding(own.density_kg_m3, expansion_1_k=expansion, at_c=NODES_C)
    if len(own.density_points) > 1:
        density = straight(own.density_points, at_c=NODES_C)
    viscosity_points = own.viscosity_points or ((VISCOSITY_REFERENCE_C, own.viscosity_mpas_25c),)
    return liquid_table(
        density_kg_m3=density,
        expansion_1_k=-np.gradient(density, NODES_C) / density
        if len(own.density_points) > 1
        else expansion,
        specific_heat_j_kgk=straight(
            own.specific_heat_points or ((REFERENCE_C, own.specific_heat_j_kgk),), at_c=NODES_C
        ),
        conductivity_w_mk=straight(
            own.conductivity_points or ((REFERENCE_C, own.conductivity_w_mk),), at_c=NODES_C
        ),
        viscosity_pas=1e-3
        * viscosity(viscosity_points, slope_k=own.viscosity_slope_k, at_c=NODES_C),
    )


def liquid_of(
    products: Sequence[Product],
    *,
    mass_kg: Floats,
    films: Sequence[Exposure],
    share: Floats,
) -> Liquid:
    """Likely liquid and films of drums, arrays of shape (drum,).

    Parameters
    ----------
    products
        Product of each drum.
    mass_kg
        Net mass, kg.
    films
        Films of each drum's place.
    share
        Share of the side that sees the air, 0-1.
    """
    # Products are few and drums many: one table for each that differs.
    numbers: dict[Properties, int] = {}
    number = [numbers.setdefault(p.properties, len(numbers)) for p in products]
    return Liquid(
        mass_kg=mass_kg,
        tables=np.stack([table_of(own) for own in numbers]),
        number=np.array(number, dtype=np.intp),
        side_w_m2k=np.array([f.side_w_m2k for f in films], dtype=np.float64) * share,
        top_w_m2k=np.array([f.top_w_m2k for f in films], dtype=np.float64),
        bottom_w_m2k=np.array([f.bottom_w_m2k for f in films], dtype=np.float64),
        steel_kg=np.full(len(products), DRUM_STEEL_KG),
    )


def doubt_seconds(likely: Liquid) -> Floats:
    """Time constant, s, by which a doubt about any layer fades; on the slow side."""
    height = depth(likely, mean_c=COLD_C)
    inside = LAST_LAYER_SHARE * _cold_film(likely)
    side = 1.0 / (NAMED_SETTING.film / likely.side_w_m2k + 1.0 / inside)
    ends = (likely.top_w_m2k + likely.bottom_w_m2k) / NAMED_SETTING.film * CROSS_SECTION_M2
    conductance = side * PERIMETER_M * height + ends
    capacity = likely.mass_kg * likely.at(Row.SPECIFIC_HEAT, COLD_C)
    return np.asarray(capacity / conductance, dtype=np.float64)


def _cold_film(likely: Liquid) -> Floats:
    """Wall-to-bulk film of a cold, full drum, W/(m² K) (``thermal.convection``, Evans, Stefany)."""
    rho, k = likely.at(Row.DENSITY, COLD_C), likely.at(Row.CONDUCTIVITY, COLD_C)
    nu = likely.at(Row.VISCOSITY, COLD_C) / rho
    alpha = k / (rho * likely.at(Row.SPECIFIC_HEAT, COLD_C))
    expansion = likely.at(Row.EXPANSION, COLD_C)
    buoyancy = GRAVITY_M_S2 * expansion * WALL_K * DRUM_DEPTH_M**3
    return np.asarray(0.55 * (buoyancy / (nu * alpha)) ** 0.25 * k / DRUM_DEPTH_M)
