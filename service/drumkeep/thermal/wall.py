"""What the drum's wall says of the liquid behind it: air and liquid, mixed by their films.

A reading of the skin is no reading of the liquid: with films of the same order on both sides the
wall lies about halfway. The shell itself is thin steel and counts for nothing.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_RADIUS_M, GRAVITY_M_S2
from drumkeep.thermal.properties import Row
from drumkeep.thermal.stratified import Liquid, depth

Floats = NDArray[np.float64]

_ROUNDS: Final = 3

EVANS_STEFANY: Final = 0.55
"""Evans and Stefany (1966), in Holman, Heat Transfer, ch. 7: closed upright cylinders of liquid."""


def inside_film(liquid: Liquid, *, side_c: Floats, mean_c: Floats) -> Floats:
    """Film between wall and liquid, W/(m² K), by Evans and Stefany, at least that of conduction.

    Parameters
    ----------
    liquid
        Properties and films, shape (drum,).
    side_c
        What the side faces, °C, shape (drum,).
    mean_c
        Mean of the liquid, °C, shape (drum,).
    """
    height = depth(liquid, mean_c=mean_c)
    k, rho = liquid.at(Row.CONDUCTIVITY, mean_c), liquid.at(Row.DENSITY, mean_c)
    alpha = k / (rho * liquid.at(Row.SPECIFIC_HEAT, mean_c))
    least = 4.0 * k / DRUM_RADIUS_M
    inside = least
    for _ in range(_ROUNDS):
        wall_k = (side_c - mean_c) * liquid.side_w_m2k / (liquid.side_w_m2k + inside)
        nu = liquid.at(Row.VISCOSITY, mean_c + 0.5 * wall_k) / rho
        buoyancy = GRAVITY_M_S2 * liquid.at(Row.EXPANSION, mean_c) * np.abs(wall_k) * height**3
        inside = np.maximum(EVANS_STEFANY * (k / height) * (buoyancy / (nu * alpha)) ** 0.25, least)
    return np.asarray(inside, dtype=np.float64)


def liquid_share(liquid: Liquid, *, side_c: Floats, mean_c: Floats) -> Floats:
    """Share of the liquid in the wall's temperature, 0–1; the rest is what the side faces.

    The wall is h_in T + h_out T_side over h_in + h_out, with the films of ``inside_film`` and of
    the side.
    """
    inside = inside_film(liquid, side_c=side_c, mean_c=mean_c)
    return np.asarray(inside / (inside + liquid.side_w_m2k), dtype=np.float64)
