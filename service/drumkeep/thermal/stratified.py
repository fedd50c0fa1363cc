"""The liquid of many drums in layers, advanced together.

Wall film and core: liquid that cools at the wall sinks and pools at the bottom, liquid that warms
there rises to the top, so the core is layered and the bottom is always the coldest. The form and
its coefficients were fitted to fine-grid convection curves (see ``README.md`` beside this); the
equations themselves are in ``kernel``.

Arrays carry any leading axes (parameter set, drum); the last axis is the layer, bottom first.
"""

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import STEEL_SPECIFIC_HEAT_J_KGK
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M, liquid_depth
from drumkeep.thermal.kernel import LAYERS, LEAST_MASS_KG, advance_all, overturn_all
from drumkeep.thermal.parts import in_parts
from drumkeep.thermal.properties import Row, read_tables

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

__all__ = [
    "EIGHTHS",
    "LAYERS",
    "Liquid",
    "advance",
    "depth",
    "eighths",
    "heat_capacity",
    "overturn",
]

EIGHTHS: Final = 8
"""What people are told of: the bottom is the lowest eighth, the top the highest."""


@dataclass(frozen=True)
class Liquid:
    """Liquid and surroundings of drums, SI; every field but ``tables`` broadcasts to (…, drum).

    ``tables`` (table, 5, node) hold the properties by temperature (``properties.liquid_table``);
    ``number`` says which of them each drum's liquid has.
    """

    mass_kg: Floats
    tables: Floats
    number: Indices
    side_w_m2k: Floats
    top_w_m2k: Floats
    bottom_w_m2k: Floats
    steel_kg: Floats

    def take(self, drums: Indices) -> "Liquid":
        """Return the same for some drums only (last axis)."""
        picked = {
            name: np.take(value, drums, axis=-1)
            for name, value in self.__dict__.items()
            if name != "tables"
        }
        return replace(self, **picked)

    def each(self) -> tuple[NDArray[Any], ...]:
        """Return what each drum has of its own, as the compiled loops take it."""
        return (
            self.number,
            self.mass_kg,
            self.side_w_m2k,
            self.top_w_m2k,
            self.bottom_w_m2k,
            self.steel_kg,
        )

    def at(self, row: Row, temperature_c: Floats | float) -> Floats:
        """Return a property at each drum's temperature, °C."""
        return read_tables(self.tables, number=self.number, row=row, at_c=temperature_c)


def eighths(layers_c: Floats) -> Floats:
    """Return the means of eight equal parts, bottom first, of layers on the last axis."""
    return np.asarray(layers_c.reshape(*layers_c.shape[:-1], EIGHTHS, -1).mean(axis=-1))


def depth(liquid: Liquid, *, mean_c: Floats | float) -> Floats:
    """Depth, m, of the liquid at its mean temperature, °C; at least that of half a kilogram."""
    mass = np.maximum(liquid.mass_kg, LEAST_MASS_KG)
    return liquid_depth(mass, liquid.at(Row.DENSITY, mean_c))


def heat_capacity(liquid: Liquid, *, mean_c: Floats | float) -> Floats:
    """Heat capacity, J/K, of the liquid and the wetted share of the steel around it."""
    wetted = np.minimum(depth(liquid, mean_c=mean_c) / DRUM_INSIDE_HEIGHT_M, 1.0)
    mass = np.maximum(liquid.mass_kg, LEAST_MASS_KG)
    steel = liquid.steel_kg * STEEL_SPECIFIC_HEAT_J_KGK * wetted
    return np.asarray(mass * liquid.at(Row.SPECIFIC_HEAT, mean_c) + steel, dtype=np.float64)


def advance(
    layers_c: Floats,
    *,
    liquid: Liquid,
    side_c: Floats,
    top_c: Floats | None = None,
    floor_c: Floats | None = None,
    heat_w: Floats | float = 0.0,
    seconds: float,
) -> Floats:
    """Advance the layers by one step.

    Parameters
    ----------
    layers_c
        Layer temperatures, °C, shape (…, drum, layer), bottom first.
    liquid
        Properties and films, broadcasting to (…, drum).
    side_c, top_c, floor_c
        What side, top and bottom face, °C, broadcasting to (…, drum); top and bottom face what the
        side does where None.
    heat_w
        Heat put into each layer by a heater, W, broadcasting to (…, drum, layer).
    seconds
        Length of the step; 300 s and 900 s are used.

    Returns
    -------
    ndarray
        New layer temperatures, same shape.
    """
    faced = (side_c, side_c if top_c is None else top_c, side_c if floor_c is None else floor_c)
    shape = layers_c.shape
    inputs = (
        *(np.broadcast_to(values, shape[:-1]) for values in (*liquid.each(), *faced)),
        np.broadcast_to(np.asarray(heat_w, dtype=np.float64), shape),
    )
    result = np.empty(shape)

    def some(part: slice) -> None:
        drums = (..., part)
        layers = (..., part, slice(None))
        number, *rest, heat = (
            values[layers if values.ndim == len(shape) else drums] for values in inputs
        )
        advance_all(layers_c[layers], liquid.tables, number, *rest, heat, seconds, result[layers])

    in_parts(some, count=shape[-2])
    return result


def overturn(layers_c: Floats) -> Floats:
    """Pool layers that have become colder than those below: the nearest stable stack.

    The least-squares stack that never falls from bottom to top (isotonic regression with equal
    weights, by pooling adjacent violators); the mean is unchanged.
    """
    result: Floats = overturn_all(layers_c)
    return result
