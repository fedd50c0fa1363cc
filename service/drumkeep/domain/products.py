"""What a lot is a lot of: side, properties of the liquid, and limits with their origin.

Sources on limits conflict, so every limit lives on the product and says where it comes from. The
defaults here are common practice with no published source, except where an origin says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Final

from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.thermal.vapour import AGENTS, Agent

PRACTICE: Final = "common practice, no source"
JUDGED: Final = "our judgement, no source"
ASSUMED: Final = "assumed, override from the data sheet"
SHEETS: Final = "typical data sheet"
ONE_RESIN: Final = "viscosities measured of one resin"
GIVEN: Final = "given with the product, source not named"
NO_POINTS: Final = "none given: the single figure holds"


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
    several temperatures gives its ``…_points``, pairs of °C and value, which then hold instead; the
    single figures are then what the points say at 20 or 25 °C.
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
        points = _POINTS_BEHIND.get(name)
        if points is not None and len(getattr(self.properties, points)) >= _LEAST_BEHIND[name]:
            return self.origin(points)
        usual = PRACTICE if hasattr(self.limits, name) else ASSUMED
        if name in _POINTS and not getattr(self.properties, name):
            usual = NO_POINTS
        elif name in self.stated:
            usual = GIVEN
        elif name in _OUR_LIMITS:
            usual = JUDGED
        else:
            usual = self._usual().get(name, usual)
        return self.origins.get(name, usual)

    def _usual(self) -> Mapping[str, str]:
        return _OPEN_CELL_USUAL if self.cell is Cell.OPEN else _USUAL[self.side]

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

_USUAL: Final[Mapping[Side, Mapping[str, str]]] = {
    Side.ISO: {
        "density_kg_m3": SHEETS,
        "specific_heat_j_kgk": SHEETS,
        "conductivity_w_mk": SHEETS,
        "expansion_1_k": SHEETS,
        "viscosity_mpas_25c": SHEETS,
        "net_kg": PRACTICE,
    },
    Side.RESIN: {
        "density_kg_m3": SHEETS,
        "viscosity_mpas_25c": ONE_RESIN,
        "viscosity_slope_k": ONE_RESIN,
        "net_kg": PRACTICE,
    },
}
"""Of default properties: iso's stand on data sheets (conductivity with one digit), of its slope no
table was found; of resin only density and viscosity do."""
_OPEN_CELL_USUAL: Final = {"net_kg": PRACTICE}
"""Of open-cell resin nothing was found: its figures are assumed."""

_POINTS_BEHIND: Final = {
    "density_kg_m3": "density_points",
    "expansion_1_k": "density_points",
    "specific_heat_j_kgk": "specific_heat_points",
    "conductivity_w_mk": "conductivity_points",
    "viscosity_mpas_25c": "viscosity_points",
    "viscosity_slope_k": "viscosity_points",
}
_POINTS: Final = frozenset(_POINTS_BEHIND.values())
_LEAST_BEHIND: Final = dict.fromkeys(_POINTS_BEHIND, 1) | {
    "expansion_1_k": 2,
    "viscosity_slope_k": 2,
}
"""It takes two points to make a slope."""


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
