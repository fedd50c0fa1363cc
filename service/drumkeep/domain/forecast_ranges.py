"""What a forecast rests on beyond the ranges that it was published or checked for, in sentences."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.products import Properties
from drumkeep.thermal.boundary import Setting, out_of_range
from drumkeep.thermal.film_table import WALL_SHARE
from drumkeep.thermal.properties import HIGHEST_C, LOWEST_C, Row
from drumkeep.thermal.stratified import Liquid, depth

Floats = NDArray[np.float64]

CHECKED_DEPTH_M: Final = (0.2, 0.84)
CHECKED_VISCOSITY_M2_S: Final = (5e-5, 3e-3)
CHECKED_FILM_W_M2K: Final = (3.0, 25.0)
"""Where the layer model was held against fine-grid convection (``tests/reference/fine_grid``)."""

_POINTS: Final = {
    "density_points": "density",
    "specific_heat_points": "specific heat",
    "conductivity_points": "conductivity",
    "viscosity_points": "viscosity",
}


def film_warnings(setting: Setting, *, air_c: Floats, mean_c: Floats) -> list[str]:
    """Say which correlation of the outside films was used beyond its range.

    Parameters
    ----------
    setting
        Where the drum stands.
    air_c, mean_c
        Air and mean of the liquid over time, °C, shape (time,).
    """
    wall = air_c + WALL_SHARE * (mean_c - air_c)
    return list(out_of_range(setting, surface_c=wall, air_c=air_c))


def layer_warnings(liquid: Liquid, *, layers_c: Floats) -> list[str]:
    """Say where a course of flowing liquid lies outside what the layer model was checked for.

    Parameters
    ----------
    liquid
        One drum's, arrays of shape (1,).
    layers_c
        Likely layers over time, °C, shape (time, 8).
    """
    mean = layers_c.mean(axis=-1)
    height = depth(liquid, mean_c=mean)
    viscosity = liquid.at(Row.VISCOSITY, mean) / liquid.at(Row.DENSITY, mean)
    return [
        f"The {what} comes to {worst:.2g}{unit}; the layer model was checked from {low:g} to "
        f"{high:g}: outside it is less certain."
        for what, unit, values, (low, high) in (
            ("depth", " m", height, CHECKED_DEPTH_M),
            ("kinematic viscosity", " m²/s", viscosity, CHECKED_VISCOSITY_M2_S),
            ("outside film", " W/(m² K)", liquid.side_w_m2k, CHECKED_FILM_W_M2K),
        )
        for worst in [_beyond(values, low=low, high=high)]
        if worst is not None
    ]


def property_warnings(properties: Properties, *, layers_c: Floats) -> list[str]:
    """Say which property was taken beyond the points of its data sheet."""
    low, high = float(layers_c.min()), float(layers_c.max())
    said = []
    for name, what in _POINTS.items():
        points = getattr(properties, name)
        ends = [c for c, _ in points]
        if len(ends) > 1 and (low < min(ends) or high > max(ends)):
            said.append(
                f"The {what} is known from {min(ends):g} to {max(ends):g} °C and the liquid goes "
                f"from {low:.0f} to {high:.0f} °C: beyond its points it is less certain."
            )
    if low < LOWEST_C or high > HIGHEST_C:
        said.append(
            f"The liquid goes from {low:.0f} to {high:.0f} °C; beyond {LOWEST_C:g} and "
            f"{HIGHEST_C:g} °C its properties are held."
        )
    return said


def _beyond(values: Floats, *, low: float, high: float) -> float | None:
    smallest, largest = float(np.min(values)), float(np.max(values))
    if smallest < low:
        return smallest
    return largest if largest > high else None
