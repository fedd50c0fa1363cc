"""Properties of a liquid by temperature, from the few points of its data sheet.

Viscosity follows straight lines of its logarithm over 1/T (one Arrhenius slope between each two
points), the others straight lines over T. The march reads them from tables with a node every 2.5 K:
``liquid_tables`` makes one, shape (5, node), rows in the order of ``Row``.
"""

from collections.abc import Sequence
from enum import IntEnum
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import ZERO_C_K

Floats = NDArray[np.float64]

REFERENCE_C: Final = 20.0
"""A single density holds here, and volume grows linearly from here."""

VISCOSITY_REFERENCE_C: Final = 25.0

LOWEST_C: Final = -60.0
HIGHEST_C: Final = 110.0
NODE_K: Final = 2.5
NODES_C: Final = np.arange(LOWEST_C, HIGHEST_C + NODE_K / 2.0, NODE_K)
"""Beyond the ends the end values hold: no drum's liquid gets there."""


class Row(IntEnum):
    """Rows of a table, SI: kg/m³, 1/K, J/(kg K), W/(m K), Pa s."""

    DENSITY = 0
    EXPANSION = 1
    SPECIFIC_HEAT = 2
    CONDUCTIVITY = 3
    VISCOSITY = 4


Points = Sequence[tuple[float, float]]
"""(°C, value) pairs of a data sheet, in any order."""


def viscosity(points: Points, *, slope_k: float, at_c: Floats | float) -> Floats:
    """Return the viscosity at temperatures, in the points' unit.

    Parameters
    ----------
    points
        At least one; between two, log-linear in 1/T.
    slope_k
        B of exp(B/T), K, from a single point; beyond the ends of several the end slopes go on.
    at_c
        Temperatures, °C, any shape.
    """
    inverse, logs = _sorted_by_inverse(points)
    x = 1.0 / (np.asarray(at_c, dtype=np.float64) + ZERO_C_K)
    if len(inverse) == 1:
        return np.asarray(np.exp(logs[0] + slope_k * (x - inverse[0])))
    return np.asarray(np.exp(_straight(x, inverse, logs)))


def arrhenius_slope(cold_c: float, cold: float, warm_c: float, warm: float) -> float:
    """Return B of exp(B/T), K, between two viscosities in one unit; R times it is the energy Ea."""
    return log(cold / warm) / (1.0 / (cold_c + ZERO_C_K) - 1.0 / (warm_c + ZERO_C_K))


def straight(points: Points, *, at_c: Floats | float) -> Floats:
    """Return a property at temperatures by straight lines over °C; the end slopes go on."""
    ordered = sorted(points)
    x = np.array([c for c, _ in ordered])
    y = np.array([value for _, value in ordered])
    at = np.asarray(at_c, dtype=np.float64)
    return np.full(at.shape, y[0]) if len(x) == 1 else _straight(at, x, y)


def expanding(density_kg_m3: float, *, expansion_1_k: float, at_c: Floats | float) -> Floats:
    """Density, kg/m³, of a liquid whose volume grows linearly from its ``REFERENCE_C`` value."""
    grown = 1.0 + expansion_1_k * (np.asarray(at_c, dtype=np.float64) - REFERENCE_C)
    return np.asarray(density_kg_m3 / grown)


def liquid_table(
    *,
    density_kg_m3: Floats | float,
    expansion_1_k: Floats | float,
    specific_heat_j_kgk: Floats | float,
    conductivity_w_mk: Floats | float,
    viscosity_pas: Floats | float,
) -> Floats:
    """Return a table, shape (5, node), of properties each given at ``NODES_C`` or as one number."""
    table = np.empty((len(Row), len(NODES_C)))
    table[Row.DENSITY] = density_kg_m3
    table[Row.EXPANSION] = expansion_1_k
    table[Row.SPECIFIC_HEAT] = specific_heat_j_kgk
    table[Row.CONDUCTIVITY] = conductivity_w_mk
    table[Row.VISCOSITY] = viscosity_pas
    return table


def read_tables(
    tables: Floats, *, number: NDArray[np.intp], row: Row, at_c: Floats | float
) -> Floats:
    """Return one property of liquids.

    Parameters
    ----------
    tables
        Shape (table, 5, node).
    number
        Which table each liquid has, broadcasting against ``at_c``.
    row
        Which property.
    at_c
        Temperatures, °C.
    """
    place = (np.asarray(at_c, dtype=np.float64) - LOWEST_C) / NODE_K
    place = np.clip(place, 0.0, len(NODES_C) - 1.0)
    left = np.minimum(place.astype(np.intp), len(NODES_C) - 2)
    share = place - left
    low, high = tables[number, row, left], tables[number, row, left + 1]
    return np.asarray(low + share * (high - low), dtype=np.float64)


def _sorted_by_inverse(points: Points) -> tuple[Floats, Floats]:
    ordered = sorted((1.0 / (c + ZERO_C_K), value) for c, value in points)
    return np.array([x for x, _ in ordered]), np.log([value for _, value in ordered])


def _straight(at: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines through (x, y), x ascending; the end slopes go on."""
    segment = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    slope = np.diff(y) / np.diff(x)
    return np.asarray(y[segment] + slope[segment] * (at - x[segment]))
