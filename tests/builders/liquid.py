"""Liquid in drums as the physics takes it; arguments replace fields, numbers become arrays."""

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.properties import NODES_C, liquid_table, viscosity
from drumkeep.thermal.stratified import LAYERS, Liquid

Floats = NDArray[np.float64]

ISO = {
    "mass_kg": 250.0,
    "density_kg_m3": 1230.0,
    "specific_heat_j_kgk": 1800.0,
    "conductivity_w_mk": 0.14,
    "expansion_1_k": 7e-4,
    "viscosity_25c_pas": 0.2,
    "viscosity_slope_k": 6254.0,
    "side_w_m2k": 8.0,
    "top_w_m2k": 2.8,
    "bottom_w_m2k": 3.0,
    "steel_kg": 18.1,
}


PROPERTIES = ("density_kg_m3", "specific_heat_j_kgk", "conductivity_w_mk", "expansion_1_k")
FILMS = ("side_w_m2k", "top_w_m2k", "bottom_w_m2k")


def liquid(drums: int = 1, **changes: float | Floats) -> Liquid:
    """Return so many drums of iso in a still, warm shop; their properties do not change with heat
    but for the viscosity.
    """
    values = {
        name: np.broadcast_to(np.asarray(value, dtype=np.float64), (drums,)).copy()
        for name, value in (ISO | changes).items()
    }
    return Liquid(
        tables=np.stack([_table(values, drum) for drum in range(drums)]),
        number=np.arange(drums, dtype=np.intp),
        **{name: values[name] for name in ("mass_kg", *FILMS, "steel_kg")},
    )


def _table(values: dict[str, Floats], drum: int) -> Floats:
    thickness = viscosity(
        ((25.0, float(values["viscosity_25c_pas"][drum])),),
        slope_k=float(values["viscosity_slope_k"][drum]),
        at_c=NODES_C,
    )
    own = {name: float(values[name][drum]) for name in PROPERTIES}
    return liquid_table(**own, viscosity_pas=thickness)


def layers(*temperatures_c: float, drums: int = 1) -> Floats:
    """Return layers of drums, shape (drum, layer): one temperature throughout, or equal parts."""
    one = np.repeat(np.asarray(temperatures_c, dtype=np.float64), LAYERS // len(temperatures_c))
    return np.repeat(one[None, :], drums, axis=0)
