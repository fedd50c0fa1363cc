"""Which of a product's figures a drum's answer rests on, and where each comes from."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.liquid_surroundings import table_of
from drumkeep.domain.products import OutputClass, Product, Side
from drumkeep.thermal.properties import Row, read_tables

Floats = NDArray[np.float64]

Unit = Literal["c", "min", "days", "share"]

_STORED: Final[dict[str, Unit]] = {"storage_low_c": "c", "storage_high_c": "c"}
_ISO: Final[dict[str, Unit]] = {"seed_c": "c", "deep_seed_c": "c", "redissolve_c": "c"}
_RESIN: Final[dict[str, Unit]] = {"gassing_c": "c", "agent_loss_allowance": "share"}
_BOTH: Final[dict[str, Unit]] = {"maximum_c": "c", "shelf_life_days": "days"}
_MIXED: Final[dict[str, Unit]] = {
    "agitate_before_use_min": "min",
    "agitate_if_stored_days": "days",
}

_POINTS: Final = {
    Row.DENSITY: ("density_kg_m3", "density_points"),
    Row.EXPANSION: ("expansion_1_k", "density_points"),
    Row.SPECIFIC_HEAT: ("specific_heat_j_kgk", "specific_heat_points"),
    Row.CONDUCTIVITY: ("conductivity_w_mk", "conductivity_points"),
    Row.VISCOSITY: ("viscosity_mpas_25c", "viscosity_points"),
}


@dataclass(frozen=True)
class LimitUsed:
    """A limit by its name, its value in a unit, and where it comes from."""

    name: str
    value: float
    unit: Unit
    origin: str


@dataclass(frozen=True)
class PropertyUsed:
    """A property by its name, SI, at the temperatures that were asked for, and its origin."""

    name: str
    values: tuple[float, ...]
    origin: str


def limits_used(product: Product, *, output: OutputClass) -> tuple[LimitUsed, ...]:
    """Return the limits that a drum's answer for an output class rests on."""
    low = f"use_low_{output.value}_c"
    units: dict[str, Unit] = {low: "c", "use_high_c": "c", **_STORED}
    units |= (_ISO if product.side is Side.ISO else _RESIN) | _BOTH
    units |= {name: unit for name, unit in _MIXED.items() if getattr(product.limits, name) > 0.0}
    return tuple(
        LimitUsed(
            name=name,
            value=float(getattr(product.limits, name)),
            unit=unit,
            origin=product.origin(name),
        )
        for name, unit in units.items()
    )


def properties_used(product: Product, *, at_c: Sequence[float]) -> tuple[PropertyUsed, ...]:
    """Return the liquid's properties at temperatures (°C), as the march has them; SI."""
    tables = table_of(product.properties)[None]
    number = np.zeros(len(at_c), dtype=np.intp)
    found = []
    for row, (name, points) in _POINTS.items():
        given = points if getattr(product.properties, points) else name
        values: Floats = read_tables(tables, number=number, row=row, at_c=np.asarray(at_c))
        found.append(
            PropertyUsed(
                name=row.name.lower(),
                values=tuple(float(v) for v in values),
                origin=product.origin(given),
            )
        )
    return tuple(found)
