"""A product as its sheet shows it: limits, properties by temperature, the points behind them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from drumkeep.domain.limits_used import properties_used
from drumkeep.domain.products import Cell, Limits, Points, Product, Side
from drumkeep.domain.quantities import fahrenheit
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Product as ProductRow
from drumkeep.web.formats import Formats
from drumkeep.web.plot import Curve, Plot, table

SHOWN_C: Final = (0.0, 10.0, 20.0, 30.0)
"""Temperatures at which properties are shown: 32, 50, 68 and 86 °F."""

_LINE_C: Final = np.arange(-10.0, 40.5, 1.0)
_DECADES: Final = (10, 100, 1000, 10_000, 100_000, 1_000_000)

POINTS: Final[Mapping[str, tuple[str, str]]] = {
    "viscosity_points": ("Viscosity", "cP (mPa s)"),
    "density_points": ("Density", "kg/m³"),
    "specific_heat_points": ("Specific heat", "J/(kg °C)"),
    "conductivity_points": ("Conductivity", "W/(m °C)"),
}
"""What a data sheet may give at several temperatures: its name and the unit of its values."""

_TABLE: Final[Mapping[str, tuple[str, float]]] = {
    "density": ("Density, kg/m³", 1.0),
    "expansion": ("Expansion, 1/1000 per °C", 1000.0),
    "specific_heat": ("Specific heat, J/(kg °C)", 1.0),
    "conductivity": ("Conductivity, W/(m °C)", 1.0),
    "viscosity": ("Viscosity, cP (mPa s)", 1000.0),
}
_LIMITS: Final[Mapping[str, str]] = {
    "storage_low_c": "Store from",
    "storage_high_c": "Store up to",
    "use_low_under_20_c": "Spray from, for less than 20 lb (9 kg) a minute",
    "use_low_from_20_c": "Spray from, for 20 lb (9 kg) a minute or more",
    "use_high_c": "Spray up to",
    "seed_c": "Solids may start",
    "deep_seed_c": "Solids start within minutes",
    "redissolve_c": "Solids dissolve from",
    "gassing_c": "Gassing above",
    "maximum_c": "Never above",
    "agitate_before_use_min": "Mix before use",
    "agitate_if_stored_days": "Mix if stored for",
    "shelf_life_days": "Shelf life",
    "agent_loss_allowance": "Blowing agent that may be lost",
}
_FOAM: Final = {Cell.OPEN: "for open-cell foam", Cell.CLOSED: "for closed-cell foam"}
_OF_THE_OTHER: Final = {
    Side.ISO: frozenset({"gassing_c", "agent_loss_allowance"}),
    Side.RESIN: frozenset({"seed_c", "deep_seed_c", "redissolve_c"}),
}
"""Limits that no rule asks of a side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductLine:
    """A product in the list; ``kind`` says for which foam, ``viscosity`` is at 25 °C."""

    code: str
    name: str
    side: str
    kind: str
    spray: str
    store: str
    viscosity: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertyRow:
    """A property with its values at the temperatures shown, and where it comes from."""

    name: str
    values: tuple[str, ...]
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointsField:
    """A field for points: a line each; ``problems`` say what is wrong with what was written."""

    key: str
    name: str
    unit: str
    text: str
    source: str
    problems: tuple[str, ...] = ()
    source_problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductView:
    """A product's sheet; ``limits`` as name, value and origin, ``system`` empty where not said."""

    code: str
    name: str
    side: str
    kind: str
    system: str
    limits: tuple[tuple[str, str, str], ...]
    at: tuple[str, ...]
    properties: tuple[PropertyRow, ...]
    line: Plot


def product_line(row: ProductRow, *, formats: Formats) -> ProductLine:
    """Return a product as the list shows it."""
    product = as_product(row)
    limits = product.limits
    low = min(limits.use_low_under_20_c, limits.use_low_from_20_c)
    return ProductLine(
        code=row.code,
        name=row.name,
        side=row.side,
        kind=_kind(product),
        spray=formats.temp_span(low, limits.use_high_c),
        store=formats.temp_span(limits.storage_low_c, limits.storage_high_c),
        viscosity=_figure(product.properties.viscosity_mpas_25c),
    )


def product_view(row: ProductRow, *, formats: Formats) -> ProductView:
    """Return a product's sheet in the viewer's units."""
    product = as_product(row)
    left_out = _OF_THE_OTHER[product.side]
    return ProductView(
        code=row.code,
        name=row.name,
        side=row.side,
        kind=_kind(product),
        system=row.system or "",
        limits=tuple(
            (_LIMITS[limit.name], _limit(product, limit.name, formats=formats), origin)
            for limit in fields(Limits)
            if limit.name not in left_out
            for origin in [product.origin(limit.name)]
        ),
        at=tuple(formats.temp(c) for c in SHOWN_C),
        properties=tuple(
            PropertyRow(
                name=_TABLE[used.name][0],
                values=tuple(_figure(value * _TABLE[used.name][1]) for value in used.values),
                origin=used.origin,
            )
            for used in properties_used(product, at_c=SHOWN_C)
        ),
        line=_line(product, formats=formats),
    )


def points_fields(row: ProductRow, *, formats: Formats) -> tuple[PointsField, ...]:
    """Return the fields in which a manager changes a product's points, as they stand."""
    return tuple(
        PointsField(
            key=key,
            name=name,
            unit=unit,
            text=points_text(row.properties.get(key, ()), formats=formats),
            source=row.origins.get(key, ""),
        )
        for key, (name, unit) in POINTS.items()
    )


def points_text(points: Points | Sequence[Sequence[float]], *, formats: Formats) -> str:
    """Return points as lines of temperature and value, cold first."""
    us = formats.units == "us"
    return "\n".join(
        f"{fahrenheit(c) if us else c:.6g} {value:.10g}" for c, value in sorted(map(tuple, points))
    )


def _kind(product: Product) -> str:
    return "" if product.cell is None else _FOAM[product.cell]


def _limit(product: Product, name: str, *, formats: Formats) -> str:
    value = float(getattr(product.limits, name))
    if name.endswith("_c"):
        return formats.temp(value)
    if name == "agent_loss_allowance":
        return formats.share(value)
    if not value:
        return formats.words("not asked for")
    if name.endswith("_min"):
        return f"{value:g} min"
    return formats.words("{number} days", number=f"{value:g}")


def _figure(value: float) -> str:
    """Return a property to three digits, from a thousand on to four, thousands apart."""
    before = int(np.floor(np.log10(abs(value)))) + 1 if value else 1
    shown = round(value, 4 - before)
    return f"{shown:,.{max(0, 3 - before)}f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def _line(product: Product, *, formats: Formats) -> Plot:
    """Return viscosity over temperature, as the march has it."""
    used = {u.name: u.values for u in properties_used(product, at_c=_LINE_C.tolist())}
    thick = np.array(used["viscosity"]) * _TABLE["viscosity"][1]
    ticks = range(-10, 41, 10)
    rows = [int(np.abs(_LINE_C - c).argmin()) for c in ticks]
    return Plot(
        key="viscosity",
        title="Viscosity by temperature",
        x_name=formats.temp_unit,
        y_name=POINTS["viscosity_points"][1],
        curves=(Curve(name="", x=_LINE_C, y=thick, stroke="bold"),),
        ticks=tuple((float(c), formats.degrees(c)) for c in ticks),
        lines=tuple(
            (float(n), f"{n:,} cP".replace(",", "\N{NARROW NO-BREAK SPACE}"))
            for n in _DECADES
            if thick.min() / 2.0 <= n <= thick.max() * 2.0
        ),
        steep=True,
        numbers=table(
            ("At", "cP (mPa s)"),
            [
                [formats.temp(float(_LINE_C[i])) for i in rows],
                [_figure(float(thick[i])) for i in rows],
            ],
        ),
    )
