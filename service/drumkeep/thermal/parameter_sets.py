"""Slow, likely and fast: the same drum three times, with what is not known moved to its ends.

The slow set resists heat most (weak film, much capacity, thick liquid), the fast set least. The
ranges are of the properties' sources: k was published with one significant digit (±15 %), viscosity
grades differ by half, films by a quarter where the air's motion is only named.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.stratified import Liquid

Floats = NDArray[np.float64]

SETS: Final = 3
SLOW: Final = 0
LIKELY: Final = 1
FAST: Final = 2


@dataclass(frozen=True)
class Spread:
    """Relative half-ranges of what is not known; each as a factor, 1.25 for a quarter."""

    film: float = 1.25
    specific_heat: float = 1.04
    conductivity: float = 1.15
    expansion: float = 1.10
    viscosity: float = 1.5


NAMED_SETTING: Final = Spread()
"""Films chosen by the place's motion and standing."""

GIVEN_EXPOSURE: Final = Spread(film=1.10)
"""Films given as numbers in W/(m² K)."""


def spread_out(likely: Liquid, *, spread: Spread) -> Liquid:
    """Return the liquid with a leading axis of slow, likely, fast (arrays become (3, drum))."""

    def three(value: Floats, factor: float) -> Floats:
        return np.stack([value / factor, value, value * factor])

    def same(value: Floats) -> Floats:
        return np.broadcast_to(value, (SETS, *np.shape(value)))

    return Liquid(
        mass_kg=same(likely.mass_kg),
        density_kg_m3=same(likely.density_kg_m3),
        specific_heat_j_kgk=three(likely.specific_heat_j_kgk, 1.0 / spread.specific_heat),
        conductivity_w_mk=three(likely.conductivity_w_mk, spread.conductivity),
        expansion_1_k=three(likely.expansion_1_k, spread.expansion),
        viscosity_25c_pas=three(likely.viscosity_25c_pas, 1.0 / spread.viscosity),
        viscosity_slope_k=same(likely.viscosity_slope_k),
        side_w_m2k=three(likely.side_w_m2k, spread.film),
        top_w_m2k=three(likely.top_w_m2k, spread.film),
        bottom_w_m2k=three(likely.bottom_w_m2k, spread.film),
        steel_kg=same(likely.steel_kg),
    )
