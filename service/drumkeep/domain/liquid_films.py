"""What drums face at a step: films at the actual temperatures, and the sun."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.sun import Sun, facing_sun, no_sun
from drumkeep.thermal.boundary import through_side, through_top
from drumkeep.thermal.film_table import film_table
from drumkeep.thermal.parameter_sets import LIKELY

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Faced:
    """Likely films of side and top, W/(m² K), shape (drum,); what they face, °C, (3, drum)."""

    side_w_m2k: Floats
    top_w_m2k: Floats
    side_c: Floats
    top_c: Floats


class Films:
    """Films and sun of some places over the steps ``first`` … ``last``."""

    def __init__(self, heats: Sequence[PlaceHeat], *, first: int, last: int) -> None:
        self.first = first
        self.table = film_table([heat.setting for heat in heats])
        self.share = np.array([heat.setting.share for heat in heats], dtype=np.float64)
        self.absorptance = np.array([heat.absorptance for heat in heats], dtype=np.float64)
        self.sunny = np.array([heat.sun is not None for heat in heats], dtype=np.bool_)
        suns = [_cut(heat, first=first, last=last) for heat in heats] if self.sunny.any() else []
        self.side_sun = np.stack([sun.side_w_m2 for sun in suns], axis=1) if suns else None
        self.top_sun = np.stack([sun.top_w_m2 for sun in suns], axis=1) if suns else None
        self.open_sky = np.stack([sun.open_sky for sun in suns]) if suns else np.empty((0, 0))

    def over(
        self,
        step: int,
        *,
        at: Indices,
        air_c: Floats,
        mean_c: Floats,
        share: Floats,
        factor: Floats,
        blanket_r: Floats,
    ) -> Faced:
        """Return what drums face over a step's length.

        Parameters
        ----------
        step
            Grid step.
        at
            Row of each drum's place.
        air_c
            Air of the three sets, °C, shape (3, drum).
        mean_c
            Likely mean of the liquid, °C, shape (drum,).
        share
            The drum's own share of what its place leaves its side to see.
        factor
            What was learned of the place's films.
        blanket_r
            Over side and top, m² K/W.
        """
        bare_side, bare_lid = self.table.at(at, air_c=air_c[LIKELY], liquid_c=mean_c)
        side = through_side(bare_side, share=share * self.share[at], blanket_r_m2k_w=blanket_r)
        top = through_top(bare_lid, blanket_r_m2k_w=blanket_r)
        side_c, top_c = air_c, air_c
        if self.side_sun is not None and self.top_sun is not None:
            k = step - self.first
            lit = {"mean_c": mean_c, "absorptance": self.absorptance[at]}
            side_c = facing_sun(
                air_c,
                irradiance_w_m2=_middle(self.side_sun, at, k),
                film_w_m2k=bare_side,
                **lit,
            )
            top_c = facing_sun(
                air_c,
                irradiance_w_m2=_middle(self.top_sun, at, k),
                film_w_m2k=bare_lid,
                faces_sky=self.open_sky[at, k],
                **lit,
            )
        return Faced(
            side_w_m2k=np.asarray(side * factor),
            top_w_m2k=np.asarray(top * factor),
            side_c=side_c,
            top_c=top_c,
        )


def _cut(heat: PlaceHeat, *, first: int, last: int) -> Sun:
    """Sun of a place over the steps asked for; its arrays run as its air's do."""
    if heat.sun is None:
        return no_sun(last - first + 1)
    begin = first - heat.air.first
    return heat.sun.over(slice(begin, begin + last - first + 1))


def _middle(values: Floats, at: Indices, k: int) -> Floats:
    """Mean of the two ends of a step, shape (3, drum)."""
    return np.asarray(0.5 * (values[:, at, k] + values[:, at, k + 1]), dtype=np.float64)
