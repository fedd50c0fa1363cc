"""One step of one drum's layers, compiled, and the loops over drums and steps around it.

The equations stand in ``README.md`` beside this. Everything here is numbers in and numbers out;
``stratified`` and ``march`` give it names, units and shapes.
"""

from collections.abc import Callable
from typing import Any, Final

import numba
import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import (
    DRUM_RADIUS_M,
    GRAVITY_M_S2,
    STEEL_SPECIFIC_HEAT_J_KGK,
    ZERO_C_K,
)
from drumkeep.thermal.geometry import CROSS_SECTION_M2, DRUM_INSIDE_HEIGHT_M, PERIMETER_M
from drumkeep.thermal.properties import LOWEST_C, NODE_K, Row

Floats = NDArray[np.float64]

LAYERS: Final = 8
C_FLOW: Final = 0.46
C_FILM: Final = 1.74
FLOW_POWER: Final = 0.20

LEAST_MASS_KG: Final = 0.5
"""A heel of less is marched as if it were this much."""

_SHARE: Final = (np.arange(LAYERS + 1) / LAYERS) ** FLOW_POWER
_COURANT_LIMIT: Final = 0.9
_FILM_ITERATIONS: Final = 3
_DENSITY: Final = int(Row.DENSITY)
_EXPANSION: Final = int(Row.EXPANSION)
_SPECIFIC_HEAT: Final = int(Row.SPECIFIC_HEAT)
_CONDUCTIVITY: Final = int(Row.CONDUCTIVITY)
_LOG_VISCOSITY: Final = int(Row.LOG_VISCOSITY)

_inlined = numba.njit(cache=True, inline="always")
_compiled = numba.njit(cache=True)


@_inlined
def _look_up(table: Floats, row: int, at_c: float) -> float:
    """One property at a temperature, by straight lines between the nodes."""
    place = (at_c - LOWEST_C) / NODE_K
    last = table.shape[1] - 2
    left = min(max(int(place), 0), last)
    share = min(max(place - left, 0.0), 1.0)
    low = table[row, left]
    return low + share * (table[row, left + 1] - low)


@_compiled
def _step(  # noqa: PLR0917, PLR0914, PLR0915 - the equations in one piece, as the compiler likes them
    layers: Floats,
    table: Floats,
    mass: float,
    side: float,
    top: float,
    bottom: float,
    steel: float,
    side_c: float,
    top_c: float,
    floor_c: float,
    heat: Floats,
    seconds: float,
    t: Floats,
) -> None:
    """Advance the layers (8, °C, bottom first) by one step, into ``t``."""
    mean = 0.0
    for j in range(LAYERS):
        mean += layers[j]
    mean /= LAYERS
    rho = _look_up(table, _DENSITY, mean)
    beta = _look_up(table, _EXPANSION, mean)
    cp = _look_up(table, _SPECIFIC_HEAT, mean)
    k = _look_up(table, _CONDUCTIVITY, mean)
    alpha = k / (rho * cp)
    mass = max(mass, LEAST_MASS_KG)
    height = mass / (rho * CROSS_SECTION_M2)
    dz = height / LAYERS
    wetted = min(height / DRUM_INSIDE_HEIGHT_M, 1.0)
    capacity = (mass * cp + steel * STEEL_SPECIFIC_HEAT_J_KGK * wetted) / LAYERS
    step = seconds / capacity

    # Air-to-stream conductance and the fourth root of the Rayleigh number.
    least = 4.0 * k / DRUM_RADIUS_M
    inside = least
    quarter = 0.0
    difference = side_c - mean
    for _ in range(_FILM_ITERATIONS):
        wall_k = difference * (side / (side + inside)) if side > 0.0 else 0.0
        nu = np.exp(_look_up(table, _LOG_VISCOSITY, mean + 0.5 * wall_k)) / rho
        rayleigh = GRAVITY_M_S2 * beta * abs(wall_k) * height**3 / (nu * alpha)
        quarter = np.sqrt(np.sqrt(rayleigh))
        inside = max(C_FILM * (k / height) * quarter, least)
    wall = side * inside / (side + inside) * PERIMETER_M * dz

    # Flow order: the wall stream starts in an empty film and gathers liquid layer by layer.
    total = C_FLOW * rho * alpha * PERIMETER_M * quarter
    total = min(total, _COURANT_LIMIT * capacity / (cp * seconds)) * cp
    warming = difference > 0.0
    stream = 0.0
    below = 0.0
    for i in range(LAYERS):
        j = i if warming else LAYERS - 1 - i
        after = total * _SHARE[i + 1]
        stream = (below * stream + (after - below) * layers[j] + wall * side_c) / (after + wall)
        below = after
        if i < LAYERS - 1:
            ahead = j + 1 if warming else j - 1
            t[j] = layers[j] + step * (after * (layers[ahead] - layers[j]) + heat[j])
        else:
            t[j] = layers[j] + step * (after * (stream - layers[j]) + heat[j])

    # Conduction between layers and the two ends, implicit: stable for the thinnest heel.
    g = k * CROSS_SECTION_M2 / dz * step
    at_top = top * CROSS_SECTION_M2 * step
    at_bottom = bottom * CROSS_SECTION_M2 * step
    upper = np.empty(LAYERS)
    diagonal = 1.0 + g + at_bottom
    upper[0] = -g / diagonal
    t[0] = (t[0] + at_bottom * floor_c) / diagonal
    for j in range(1, LAYERS):
        last = j == LAYERS - 1
        diagonal = 1.0 + (g + at_top if last else 2.0 * g) + g * upper[j - 1]
        right = t[j] + (at_top * top_c if last else 0.0)
        upper[j] = -g / diagonal
        t[j] = (right + g * t[j - 1]) / diagonal
    for j in range(LAYERS - 2, -1, -1):
        t[j] -= upper[j] * t[j + 1]
    _overturn(t)


@_compiled
def _overturn(t: Floats) -> None:
    """Pool layers that have become colder than those below, in place (see ``overturn``)."""
    level = np.empty(LAYERS)
    count = np.empty(LAYERS, dtype=np.int64)
    pools = 0
    for j in range(LAYERS):
        level[pools] = t[j]
        count[pools] = 1
        pools += 1
        while pools > 1 and level[pools - 1] < level[pools - 2]:
            joined = count[pools - 2] + count[pools - 1]
            level[pools - 2] += (level[pools - 1] - level[pools - 2]) * (count[pools - 1] / joined)
            count[pools - 2] = joined
            pools -= 1
    j = 0
    for pool in range(pools):
        for _ in range(count[pool]):
            t[j] = level[pool]
            j += 1


def _over_drums(layout: str, *types: Any) -> Callable[[Callable[..., None]], Callable[..., Any]]:  # noqa: ANN401 - numba's types are not typed
    """Compile a loop over drums; kept on disk where the folder may be written."""

    def compiled(function: Callable[..., None]) -> Callable[..., Any]:
        try:
            return numba.guvectorize([types], layout, nopython=True, cache=True)(function)  # type: ignore[no-any-return]
        except RuntimeError:
            # No place to keep it: compiled anew at each start.
            return numba.guvectorize([types], layout, nopython=True)(function)  # type: ignore[no-any-return]

    return compiled


_f8 = numba.float64
_f1 = numba.float64[:]
_f2 = numba.float64[:, :]
_f3 = numba.float64[:, :, :]
_n = numba.int64


@_over_drums(
    "(n),(p,q,r),(),(),(),(),(),(),(),(),(),(n),()->(n)",
    *(_f1, _f3, _n, _f8, _f8, _f8, _f8, _f8, _f8, _f8, _f8, _f1, _f8, _f1),
)
def advance_all(  # noqa: D103, PLR0917 - see stratified.advance
    layers, tables, number, mass, side, top, bottom, steel, side_c, top_c, floor_c, heat, s, out
):
    _step(
        layers,
        tables[number],
        mass,
        side,
        top,
        bottom,
        steel,
        side_c,
        top_c,
        floor_c,
        heat,
        s,
        out,
    )


@_over_drums(
    "(n),(p,q,r),(),(),(),(),(),(),(t),(t),(t),()->(t,n)",
    *(_f1, _f3, _n, _f8, _f8, _f8, _f8, _f8, _f1, _f1, _f1, _f8, _f2),
)
def march_all(  # noqa: D103, PLR0917 - see march.march
    layers, tables, number, mass, side, top, bottom, steel, side_c, top_c, floor_c, s, out
):
    heat = np.zeros(LAYERS)
    for j in range(LAYERS):
        out[0, j] = layers[j]
    for i in range(len(side_c) - 1):
        _step(
            out[i],
            tables[number],
            mass,
            side,
            top,
            bottom,
            steel,
            0.5 * (side_c[i] + side_c[i + 1]),
            0.5 * (top_c[i] + top_c[i + 1]),
            0.5 * (floor_c[i] + floor_c[i + 1]),
            heat,
            s,
            out[i + 1],
        )


@_over_drums("(n)->(n)", _f1, _f1)
def overturn_all(layers, out):  # noqa: D103 - see stratified.overturn
    for j in range(LAYERS):
        out[j] = layers[j]
    _overturn(out)
