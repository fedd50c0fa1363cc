"""The liquid of many drums in eight layers, advanced together.

Wall film and core: liquid that cools at the wall sinks and pools at the bottom, liquid that warms
there rises to the top, so the core is layered and the bottom is always the coldest. The form and
its three coefficients were fitted to fine-grid convection curves (see ``README.md`` beside this).

Arrays carry any leading axes (parameter set, drum); the last axis is the layer, bottom first.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_RADIUS_M, GRAVITY_M_S2, STEEL_SPECIFIC_HEAT_J_KGK
from drumkeep.thermal.geometry import (
    CROSS_SECTION_M2,
    DRUM_INSIDE_HEIGHT_M,
    PERIMETER_M,
    liquid_depth,
)

Floats = NDArray[np.float64]

LAYERS: Final = 8
C_FLOW: Final = 0.46
C_FILM: Final = 1.74
FLOW_POWER: Final = 0.20

_SHARE = (np.arange(LAYERS + 1) / LAYERS) ** FLOW_POWER
_COURANT_LIMIT: Final = 0.9
_LEAST_MASS_KG: Final = 0.5
_FILM_ITERATIONS: Final = 3


@dataclass(frozen=True)
class Liquid:
    """Liquid and surroundings of drums, SI; every field broadcasts to (…, drum).

    ``viscosity_25c_pas`` and ``viscosity_slope_k`` give the dynamic viscosity
    µ25 exp[B (1/T − 1/298.15 K)]; a slope of 0 holds it constant.
    """

    mass_kg: Floats
    density_kg_m3: Floats
    specific_heat_j_kgk: Floats
    conductivity_w_mk: Floats
    expansion_1_k: Floats
    viscosity_25c_pas: Floats
    viscosity_slope_k: Floats
    side_w_m2k: Floats
    top_w_m2k: Floats
    bottom_w_m2k: Floats
    steel_kg: Floats

    def take(self, drums: NDArray[np.intp]) -> "Liquid":
        """Return the same for some drums only (last axis)."""
        return Liquid(*(np.take(v, drums, axis=-1) for v in self.__dict__.values()))


def depth(liquid: Liquid) -> Floats:
    """Depth of the liquid, m; at least that of half a kilogram."""
    return liquid_depth(np.maximum(liquid.mass_kg, _LEAST_MASS_KG), liquid.density_kg_m3)


def heat_capacity(liquid: Liquid) -> Floats:
    """Heat capacity, J/K, of the liquid and the wetted share of the steel around it."""
    wetted = np.minimum(depth(liquid) / DRUM_INSIDE_HEIGHT_M, 1.0)
    mass = np.maximum(liquid.mass_kg, _LEAST_MASS_KG)
    steel = liquid.steel_kg * STEEL_SPECIFIC_HEAT_J_KGK * wetted
    return np.asarray(mass * liquid.specific_heat_j_kgk + steel, dtype=np.float64)


def advance(
    layers_c: Floats,
    *,
    liquid: Liquid,
    air_c: Floats,
    floor_c: Floats,
    heat_w: Floats | float = 0.0,
    seconds: float,
) -> Floats:
    """Advance the layers by one step.

    Parameters
    ----------
    layers_c
        Layer temperatures, °C, shape (…, drum, 8), bottom first.
    liquid
        Properties and films, broadcasting to (…, drum).
    air_c, floor_c
        Air round the side and top, and what the bottom faces, °C, broadcasting to (…, drum).
    heat_w
        Heat put into the liquid by a heater, W, spread over the layers.
    seconds
        Length of the step; 300 s and 900 s are used.

    Returns
    -------
    ndarray
        New layer temperatures, same shape.
    """
    rho, cp, k = liquid.density_kg_m3, liquid.specific_heat_j_kgk, liquid.conductivity_w_mk
    height = depth(liquid)
    dz = height / LAYERS
    capacity = heat_capacity(liquid) / LAYERS
    alpha = k / (rho * cp)

    mean = layers_c.mean(axis=-1)
    u, ra_quarter = _wall(liquid, mean=mean, air_c=air_c, height=height, alpha=alpha)

    # Flow order: the wall stream starts in an empty film and gathers liquid layer by layer.
    warming = (air_c > mean)[..., None]
    t = np.where(warming, layers_c, layers_c[..., ::-1])
    stream_total = C_FLOW * rho * alpha * PERIMETER_M * ra_quarter
    stream_total = np.minimum(stream_total, _COURANT_LIMIT * capacity / (cp * seconds))
    flow = (stream_total * cp)[..., None] * _SHARE  # W/K through the top of each layer
    wall = u * PERIMETER_M * dz
    driven = wall * air_c
    s = np.zeros_like(mean)
    for j in range(1, LAYERS + 1):
        entrained = flow[..., j] - flow[..., j - 1]
        s = (flow[..., j - 1] * s + entrained * t[..., j - 1] + driven) / (flow[..., j] + wall)
    rate = np.empty_like(t)
    rate[..., :-1] = flow[..., 1:-1] * (t[..., 1:] - t[..., :-1])
    rate[..., -1] = flow[..., -1] * (s - t[..., -1])
    step = seconds / capacity
    t = t + rate * step[..., None]
    t = np.where(warming, t, t[..., ::-1])
    t = t + (np.asarray(heat_w) / LAYERS * step)[..., None]

    t = _conduct(t, liquid=liquid, air_c=air_c, floor_c=floor_c, dz=dz, step=step)
    return overturn(t)


def _wall(
    liquid: Liquid, *, mean: Floats, air_c: Floats, height: Floats, alpha: Floats
) -> tuple[Floats, Floats]:
    """Air-to-stream conductance W/(m² K) and the fourth root of the Rayleigh number."""
    least = 4.0 * liquid.conductivity_w_mk / DRUM_RADIUS_M
    h_out = liquid.side_w_m2k
    h_in = np.broadcast_to(least, np.broadcast_shapes(mean.shape, np.shape(least)))
    ra_quarter = np.zeros_like(mean)
    difference = air_c - mean
    for _ in range(_FILM_ITERATIONS):
        wall_k = difference * (h_out / (h_out + h_in))
        kelvin = mean + 0.5 * wall_k + 273.15
        mu = liquid.viscosity_25c_pas * np.exp(
            liquid.viscosity_slope_k * (1.0 / kelvin - 1.0 / 298.15)
        )
        nu = mu / liquid.density_kg_m3
        ra = GRAVITY_M_S2 * liquid.expansion_1_k * np.abs(wall_k) * height**3 / (nu * alpha)
        ra_quarter = np.sqrt(np.sqrt(ra))
        h_in = np.maximum(C_FILM * (liquid.conductivity_w_mk / height) * ra_quarter, least)
    return h_out * h_in / (h_out + h_in), ra_quarter


def _conduct(
    t: Floats, *, liquid: Liquid, air_c: Floats, floor_c: Floats, dz: Floats, step: Floats
) -> Floats:
    """Conduction between layers and the two ends, implicit: stable for the thinnest heel."""
    g = liquid.conductivity_w_mk * CROSS_SECTION_M2 / dz * step
    top = liquid.top_w_m2k * CROSS_SECTION_M2 * step
    bottom = liquid.bottom_w_m2k * CROSS_SECTION_M2 * step
    out = np.empty_like(t)
    upper = np.empty_like(t)
    diagonal = 1.0 + g + bottom
    upper[..., 0] = -g / diagonal
    out[..., 0] = (t[..., 0] + bottom * floor_c) / diagonal
    for j in range(1, LAYERS):
        last = j == LAYERS - 1
        diagonal = 1.0 + (g + top if last else 2.0 * g) + g * upper[..., j - 1]
        right = t[..., j] + (top * air_c if last else 0.0)
        upper[..., j] = -g / diagonal
        out[..., j] = (right + g * out[..., j - 1]) / diagonal
    for j in range(LAYERS - 2, -1, -1):
        out[..., j] -= upper[..., j] * out[..., j + 1]
    return out


def overturn(layers_c: Floats) -> Floats:
    """Pool layers that have become colder than those below: the nearest stable stack.

    The least-squares stack that never falls from bottom to top (isotonic regression with equal
    weights, by its max–min form); the mean is unchanged.
    """
    unstable = (np.diff(layers_c, axis=-1) < 0.0).any(axis=-1)
    if not unstable.any():
        return layers_c
    rows = layers_c[unstable]
    total = np.concatenate([np.zeros((*rows.shape[:-1], 1)), np.cumsum(rows, axis=-1)], axis=-1)
    pooled = np.empty_like(rows)
    best = np.full(rows.shape, -np.inf)
    for low in range(LAYERS):
        # means of layers low…b for every b, then the smallest over b ≥ j
        means = (total[..., low + 1 :] - total[..., low : low + 1]) / np.arange(1, LAYERS - low + 1)
        least = np.minimum.accumulate(means[..., ::-1], axis=-1)[..., ::-1]
        best[..., low:] = np.maximum(best[..., low:], least)
    pooled[...] = best
    result = layers_c.copy()
    result[unstable] = pooled
    return result
