"""What a lot is a lot of: side, properties of the liquid, and limits with their origin.

Sources on limits conflict, so every limit lives on the product and says where it comes from. The
defaults here are common practice with no published source, except where an origin says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from itertools import pairwise
from typing import Final

from drumkeep.domain.own_agents import own_agent
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.vapour import AGENTS, Agent

PRACTICE: Final = "common practice, no source"
JUDGED: Final = "our judgement, no source"
ASSUMED: Final = "assumed, override from the data sheet"
GIVEN: Final = "given with the product, source not named"


Points = tuple[tuple[float, float], ...]
"""A property at temperatures: pairs of °C and value."""


class Side(StrEnum):
    """A side or B side."""

    ISO = "iso"
    RESIN = "resin"

    @property
    def letter(self) -> str:
        """The letter painted on the drum."""
        return "A" if self is Side.ISO else "B"


class Cell(StrEnum):
    """Cell structure of the foam a resin makes."""

    CLOSED = "closed"
    OPEN = "open"


class OutputClass(StrEnum):
    """Pounds of foam a minute that the crew will spray; exactly 20 is ``from_20``."""

    UNDER_20 = "under_20"
    FROM_20 = "from_20"


@dataclass(frozen=True)
class Properties:
    """Properties of the liquid, SI.

    ``viscosity_mpas_25c`` and ``viscosity_slope_k`` give µ(T) = µ25 exp[B (1/T − 1/298.15)]; the
    density holds at 20 °C and falls by the expansion. A data sheet that states a property at
    several temperatures gives its ``…_points``, pairs of °C and value, which then hold instead.
    """

    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float
    expansion_1_k: float
    viscosity_mpas_25c: float
    viscosity_slope_k: float
    net_kg: float
    density_points: Points = ()
    specific_heat_points: Points = ()
    conductivity_points: Points = ()
    viscosity_points: Points = ()
    agent: str | None = None
    own_agent: Agent | None = None
    agent_mass_fraction: float = 0.0
    agent_activity: float = 1.0
    polyol_molar_mass: float = 450.0

    @property
    def blowing_agent(self) -> Agent | None:
        """The agent dissolved in it: its own, else the one it names."""
        return self.own_agent or (None if self.agent is None else AGENTS[self.agent])


@dataclass(frozen=True)
class Limits:
    """Temperatures (°C), times and shares that decide what a drum is fit for."""

    storage_low_c: float
    storage_high_c: float
    use_low_under_20_c: float
    use_low_from_20_c: float
    use_high_c: float
    seed_c: float
    deep_seed_c: float
    redissolve_c: float
    gassing_c: float
    maximum_c: float
    agitate_before_use_min: float
    agitate_if_stored_days: float
    shelf_life_days: float
    agent_loss_allowance: float

    @property
    def age_reference_c(self) -> float:
        """Temperature at which a day counts as a day of shelf life, °C.

        The shelf life holds for liquid kept anywhere in the storage band, so at its top.
        """
        return self.storage_high_c

    def use_band(self, output: OutputClass) -> tuple[float, float]:
        """Lowest and highest liquid temperature (°C) for spraying at this output."""
        low = self.use_low_under_20_c if output is OutputClass.UNDER_20 else self.use_low_from_20_c
        return low, self.use_high_c


@dataclass(frozen=True)
class Product:
    """A product as the rules and the physics need it."""

    side: Side
    cell: Cell | None
    properties: Properties
    limits: Limits
    origins: Mapping[str, str] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    """Names of the properties and limits that its data sheet gives."""

    def origin(self, name: str) -> str:
        """Where a limit or property comes from, in words."""
        usual = PRACTICE if hasattr(self.limits, name) else ASSUMED
        if name in self.stated:
            usual = GIVEN
        elif name in _OUR_LIMITS:
            usual = JUDGED
        return self.origins.get(name, usual)

    def expires_at(self, *, made_on: date, expires_on: date | None) -> datetime:
        """Return when a lot of it expires: as its maker says, else by the shelf life; UTC."""
        if expires_on is not None:
            return datetime.combine(expires_on, time(), tzinfo=UTC)
        made = datetime.combine(made_on, time(), tzinfo=UTC)
        return made + timedelta(days=self.limits.shelf_life_days)


_F = celsius_from_fahrenheit

_ISO = Properties(
    density_kg_m3=1230.0,
    specific_heat_j_kgk=1800.0,
    conductivity_w_mk=0.1255,
    expansion_1_k=6.5e-4,
    viscosity_mpas_25c=200.0,
    viscosity_slope_k=6254.0,  # Ea 52 kJ/mol over R; low confidence, no table was found
    net_kg=250.0,
)
_RESIN_CLOSED = Properties(
    density_kg_m3=1150.0,
    specific_heat_j_kgk=1900.0,
    conductivity_w_mk=0.16,
    expansion_1_k=8e-4,
    viscosity_mpas_25c=900.0,
    viscosity_slope_k=10898.0,  # single-line fit through three measured points of one resin
    net_kg=227.0,
    agent="HFC-245fa",
    agent_mass_fraction=0.08,
)
_RESIN_OPEN = replace(
    _RESIN_CLOSED,
    density_kg_m3=1090.0,
    specific_heat_j_kgk=2000.0,
    conductivity_w_mk=0.17,
    expansion_1_k=7.5e-4,
    viscosity_mpas_25c=400.0,
    net_kg=220.0,
    agent=None,
    agent_mass_fraction=0.0,
)

_LIMITS = Limits(
    storage_low_c=_F(50.0),
    storage_high_c=_F(75.0),
    use_low_under_20_c=_F(50.0),
    use_low_from_20_c=_F(70.0),
    use_high_c=_F(90.0),
    seed_c=_F(50.0),
    deep_seed_c=_F(41.0),
    redissolve_c=_F(90.0),
    gassing_c=_F(75.0),
    maximum_c=_F(120.0),
    agitate_before_use_min=0.0,
    agitate_if_stored_days=0.0,
    shelf_life_days=180.0,
    agent_loss_allowance=0.05,
)
_OUR_LIMITS: Final = frozenset({"agent_loss_allowance"})


def default_product(side: Side, cell: Cell | None = None) -> Product:
    """Return the defaults of a side.

    Parameters
    ----------
    side
        Iso or resin.
    cell
        For resin, closed (the default) or open cell; open cell is used at 80–90 °F and agitated
        30 min first.
    """
    if side is Side.ISO:
        return Product(side=side, cell=None, properties=_ISO, limits=_LIMITS)
    if cell is Cell.OPEN:
        limits = replace(
            _LIMITS,
            use_low_under_20_c=_F(80.0),
            use_low_from_20_c=_F(80.0),
            agitate_before_use_min=30.0,
            agitate_if_stored_days=30.0,
        )
        return Product(side=side, cell=cell, properties=_RESIN_OPEN, limits=limits)
    limits = replace(_LIMITS, agitate_if_stored_days=30.0)
    return Product(side=side, cell=Cell.CLOSED, properties=_RESIN_CLOSED, limits=limits)


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
    made = replace(
        product,
        properties=replace(product.properties, **kept_properties),  # type: ignore[arg-type]
        limits=replace(product.limits, **kept_limits),  # type: ignore[arg-type]
        origins=dict(origins),
        stated=frozenset({*properties, *limits}),
    )
    _check_order(made.limits, faults)
    _check_expanding(made.properties.density_points, faults)
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
        for x, (low, high) in zip(pair, (_TEMPERATURE_RANGE, between), strict=True):
            if not low <= x <= high:
                mend = f"Give a value from {low:g} to {high:g}."
                faults.append(Fault(f"{path}.{i}", x, "is out of range", mend))
        points.append((float(pair[0]), float(pair[1])))
    points.sort()
    for (before, _), (after, _) in pairwise(points):
        if after - before < LEAST_APART_K:
            mend = f"Leave at least {LEAST_APART_K:g} K between two points."
            faults.append(Fault(path, after, f"is too near the point at {before:g} °C", mend))
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
