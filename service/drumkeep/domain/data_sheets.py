"""A data sheet's own figures in place of the defaults of a side: read, checked, made to agree."""

from collections.abc import Mapping
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any, Final

from drumkeep.domain.own_agents import own_agent
from drumkeep.domain.products import Limits, Points, Product, Properties
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.properties import (
    HIGHEST_C,
    LOWEST_C,
    REFERENCE_C,
    VISCOSITY_REFERENCE_C,
    arrhenius_slope,
    straight,
    viscosity,
)
from drumkeep.thermal.vapour import AGENTS

PROPERTY_RANGES: Final = {
    "density_kg_m3": (800.0, 1500.0),
    "specific_heat_j_kgk": (1000.0, 4500.0),
    "conductivity_w_mk": (0.05, 1.0),
    "expansion_1_k": (1e-4, 2e-3),
    "viscosity_mpas_25c": (1.0, 50_000.0),
    "viscosity_slope_k": (0.0, 20_000.0),
    "net_kg": (1.0, 320.0),
    "agent_mass_fraction": (0.0, 0.5),
    "agent_activity": (0.1, 1.5),
    "polyol_molar_mass": (100.0, 5000.0),
}
POINT_RANGES: Final = {
    "density_points": PROPERTY_RANGES["density_kg_m3"],
    "specific_heat_points": PROPERTY_RANGES["specific_heat_j_kgk"],
    "conductivity_points": PROPERTY_RANGES["conductivity_w_mk"],
    "viscosity_points": (0.5, 5_000_000.0),
}
"""Values at temperatures; a cold resin is thicker than any data sheet's 25 °C figure."""

MOST_POINTS: Final = 12
LEAST_APART_K: Final = 1.0

LIMIT_RANGES: Final = {
    "agitate_before_use_min": (0.0, 240.0),
    "agitate_if_stored_days": (0.0, 3650.0),
    "shelf_life_days": (1.0, 3650.0),
    "agent_loss_allowance": (0.001, 1.0),
}
_TEMPERATURE_RANGE: Final = (-40.0, 120.0)


def with_overrides(
    product: Product,
    *,
    properties: Mapping[str, object],
    limits: Mapping[str, object],
    origins: Mapping[str, str],
) -> Product:
    """Return the product with its data sheet's own figures in place of the defaults.

    Raises
    ------
    Invalid
        Naming every field that is unknown, of the wrong type, out of range or out of order.
    """
    faults: list[Fault] = []
    kept_properties = _checked("properties", Properties, properties, faults)
    kept_limits = _checked("limits", Limits, limits, faults)
    if kept_properties.get("own_agent") is not None:
        if kept_properties.get("agent") is not None:
            mend = "Leave out agent, or own_agent."
            problem = "stands beside own_agent"
            faults.append(Fault("properties.agent", properties["agent"], problem, mend))
        kept_properties["agent"] = None
    known = {f.name for f in fields(Properties)} | {f.name for f in fields(Limits)}
    faults += [
        Fault(f"origins.{name}", text, "is no property or limit", "Name a property or limit.")
        for name, text in origins.items()
        if name not in known
    ]
    if faults:
        raise Invalid("The product does not hold together.", faults)
    own = replace(product.properties, **kept_properties)  # type: ignore[arg-type]
    made = replace(
        product,
        properties=_by_points(own),
        limits=replace(product.limits, **kept_limits),  # type: ignore[arg-type]
        origins=dict(origins),
        stated=frozenset({*properties, *limits}),
    )
    _check_order(made.limits, faults)
    _check_expanding(own.density_points, faults)
    _check_thinning(own.viscosity_points, faults)
    for name in ("specific_heat_points", "conductivity_points"):
        _check_ends(name, getattr(own, name), faults)
    if faults:
        raise Invalid("The product does not hold together.", faults)
    return made


def _checked(
    where: str, kind: type, given: Mapping[str, object], faults: list[Fault]
) -> dict[str, object]:
    names = {f.name for f in fields(kind)}
    kept: dict[str, object] = {}
    for name, value in given.items():
        path = f"{where}.{name}"
        if name not in names:
            mend = f"Use one of {', '.join(sorted(names))}."
            faults.append(Fault(path, value, "is not known", mend))
        elif name == "agent":
            if value is not None and (not isinstance(value, str) or value not in AGENTS):
                mend = f"Use null or one of {', '.join(sorted(AGENTS))}, or give own_agent."
                faults.append(Fault(path, value, "is no agent known here", mend))
            else:
                kept[name] = value
        elif name == "own_agent":
            kept[name] = None if value is None else own_agent(path, value, faults)
        elif name in POINT_RANGES:
            kept[name] = _checked_points(path, value, between=POINT_RANGES[name], faults=faults)
        elif isinstance(value, bool) or not isinstance(value, int | float):
            faults.append(Fault(path, value, "is not a number", "Give a number."))
        else:
            ranges = PROPERTY_RANGES if kind is Properties else LIMIT_RANGES
            low, high = ranges.get(name, _TEMPERATURE_RANGE)
            if low <= value <= high:
                kept[name] = float(value)
            else:
                mend = f"Give a value from {low:g} to {high:g}."
                faults.append(Fault(path, value, "is out of range", mend))
    return kept


def _checked_points(
    path: str, value: object, *, between: tuple[float, float], faults: list[Fault]
) -> Points:
    """Return a data sheet's points in order of temperature."""
    if not isinstance(value, list | tuple) or len(value) > MOST_POINTS:
        mend = f"Give a list of at most {MOST_POINTS} pairs, such as [[25, 200], [15, 410]]."
        faults.append(Fault(path, value, "is no list of points", mend))
        return ()
    points: list[tuple[float, float]] = []
    for i, pair in enumerate(value):
        if (
            not isinstance(pair, list | tuple)
            or len(pair) != len(("c", "value"))
            or any(isinstance(x, bool) or not isinstance(x, int | float) for x in pair)
        ):
            mend = "Give two numbers: °C and the value there."
            faults.append(Fault(f"{path}.{i}", pair, "is no pair of numbers", mend))
            continue
        coldest, hottest = _TEMPERATURE_RANGE
        if not coldest <= pair[0] <= hottest:
            mend = f"Give a temperature from {coldest:g} °C to {hottest:g} °C."
            faults.append(Fault(f"{path}.{i}", pair[0], "is out of range", mend))
        low, high = between
        if not low <= pair[1] <= high:
            mend = f"Give a value from {low:.10g} to {high:.10g}."
            faults.append(Fault(f"{path}.{i}", pair[1], "is out of range", mend))
        points.append((float(pair[0]), float(pair[1])))
    points.sort()
    for (before, _), (after, _) in pairwise(points):
        if after - before < LEAST_APART_K:
            problem = f"has two points too close together, at {before:g} °C and {after:g} °C"
            mend = f"Leave {LEAST_APART_K:g} K (1.8 °F) between two points."
            faults.append(Fault(path, after, problem, mend))
    return tuple(points)


def _check_expanding(points: Points, faults: list[Fault]) -> None:
    """Refuse densities between which a liquid would shrink as it warms, or swell like a gas."""
    least, most = PROPERTY_RANGES["expansion_1_k"]
    for (cold_c, cold), (warm_c, warm) in pairwise(points):
        expansion = (cold / warm - 1.0) / (warm_c - cold_c)
        if not least <= expansion <= most:
            problem = f"makes an expansion of {expansion:.2g} per K from {cold_c:g} °C on"
            mend = f"Give densities between which it is {least:g} to {most:g} per K."
            faults.append(Fault("properties.density_points", warm, problem, mend))


def _check_thinning(points: Points, faults: list[Fault]) -> None:
    """Refuse viscosities between which a liquid would thicken as it warms, or thin too fast."""
    least, most = PROPERTY_RANGES["viscosity_slope_k"]
    for (cold_c, cold), (warm_c, warm) in pairwise(points):
        slope = arrhenius_slope(cold_c, cold, warm_c, warm)
        if not least <= slope <= most:
            problem = f"makes a slope of {slope:.3g} K from {cold_c:g} °C on"
            mend = f"Give viscosities between which it is {least:g} to {most:g} K: cold is thicker."
            faults.append(Fault("properties.viscosity_points", warm, problem, mend))


def _check_ends(name: str, points: Points, faults: list[Fault]) -> None:
    """Refuse points whose straight line, gone on to the ends of the tables, leaves all reason."""
    if not points:
        return
    low, high = POINT_RANGES[name]
    for c in (LOWEST_C, HIGHEST_C):
        value = float(straight(points, at_c=c))
        if not low <= value <= high:
            problem = f"makes {value:.3g} at {c:g} °C by the slope of the points next to it"
            mend = f"Give points whose straight line stays from {low:g} to {high:g}."
            faults.append(Fault(f"properties.{name}", points[0 if c < 0 else -1][1], problem, mend))


def _by_points(own: Properties) -> Properties:
    """Return properties whose single figures are what their points say."""
    kept: dict[str, Any] = {}
    if own.density_points:
        (cold_c, cold), (warm_c, warm) = own.density_points[0], own.density_points[-1]
        if warm_c > cold_c:
            kept["density_kg_m3"] = float(straight(own.density_points, at_c=REFERENCE_C))
            kept["expansion_1_k"] = (cold / warm - 1.0) / (warm_c - cold_c)
        else:
            kept["density_kg_m3"] = cold * (1.0 + own.expansion_1_k * (cold_c - REFERENCE_C))
    if own.specific_heat_points:
        kept["specific_heat_j_kgk"] = float(straight(own.specific_heat_points, at_c=REFERENCE_C))
    if own.conductivity_points:
        kept["conductivity_w_mk"] = float(straight(own.conductivity_points, at_c=REFERENCE_C))
    if own.viscosity_points:
        (cold_c, cold), (warm_c, warm) = own.viscosity_points[0], own.viscosity_points[-1]
        if warm_c > cold_c:
            kept["viscosity_slope_k"] = arrhenius_slope(cold_c, cold, warm_c, warm)
        kept["viscosity_mpas_25c"] = float(
            viscosity(
                own.viscosity_points, slope_k=own.viscosity_slope_k, at_c=VISCOSITY_REFERENCE_C
            )
        )
    return replace(own, **kept)


def _check_order(limits: Limits, faults: list[Fault]) -> None:
    ordered = (
        ("storage_low_c", "storage_high_c"),
        ("use_low_under_20_c", "use_high_c"),
        ("use_low_from_20_c", "use_high_c"),
        ("deep_seed_c", "seed_c"),
        ("use_high_c", "maximum_c"),
    )
    for low, high in ordered:
        if getattr(limits, low) >= getattr(limits, high):
            value = getattr(limits, low)
            mend = f"Give less than {high}, {getattr(limits, high):g} °C."
            faults.append(Fault(f"limits.{low}", value, f"is not below {high}", mend))
