"""Drums as answered."""

from drumkeep.api.schemas.events import EventOut, StrapMetOut
from drumkeep.asgi.fields import Answer, MomentOut


class EstimateOut(Answer):
    """The computed liquid, °C; ``low_c`` the coldest plausible, ``high_c`` the hottest."""

    bottom_c: float
    mean_c: float
    top_c: float
    low_c: float
    high_c: float
    at: MomentOut
    supported_to: MomentOut | None
    basis: str


class ReadinessOut(Answer):
    """Whether it is fit to spray for an output class, why, and from when."""

    state: str
    output: str
    reasons: list[str]
    advice: list[str]
    cautions: list[str]
    ready_at: MomentOut | None
    ready_from: MomentOut | None
    warm_room: str | None
    ready_in_warm_room_at: MomentOut | None
    ready_in_warm_room_from: MomentOut | None


class WasColdOut(Answer):
    """The lasting mark of iso that was under its seeding limit."""

    min_c: float
    hours: float


class AgeOut(Answer):
    """Age of the oldest and warmest liquid in it.

    ``equivalent_days`` are days at ``reference_c`` that age it as much (Arrhenius, 83.144 kJ/mol);
    ``mkt_c`` is the mean kinetic temperature of the ``counted_days`` on record, null without any.
    ``expires_at`` is by its date, ``ends_at`` with what heat took off.
    """

    made_at: MomentOut
    days: float
    equivalent_days: float
    mkt_c: float | None
    counted_days: float
    reference_c: float
    life_days: float
    expires_at: MomentOut
    ends_at: MomentOut


class AgentOut(Answer):
    """Blowing agent: what the liquid would hold untouched, and how much of it is gone, computed."""

    whole_kg: float
    lost_kg: float
    lost_low_kg: float
    lost_high_kg: float
    lost_share: float
    allowance: float
    suspected: bool


class MarkCheckOut(Answer):
    """One rule of a UN mark (pressure, vapour, density), and whether it holds as computed."""

    rule: str
    holds: bool
    said: str


class UnMarkOut(Answer):
    """A drum's UN mark, and its limits: gauge, and vapour pressures absolute."""

    text: str
    material: str
    head: str
    packing_groups: list[str]
    max_relative_density: float
    test_kpa: float
    gauge_at_55_c_limit_kpa: float
    vapour_at_50_c_limit_kpa: float
    vapour_at_55_c_limit_kpa: float
    checks: list[MarkCheckOut]


class DewPointOut(Answer):
    """Dew point of the air round a drum, and how far its coldest surface lies above it."""

    dew_c: float
    humidity_percent: float
    humidity_assumed: bool
    margin_k: float


class PressureOut(Answer):
    """A drum's computed pressure, kPa gauge unless named absolute; shares are of the brim.

    ``at_55_c_kpa`` is as it is filled, null where liquid fills it by then.
    """

    sealed: bool
    likely_kpa: float | None
    low_kpa: float | None
    high_kpa: float | None
    at_55_c_kpa: float | None
    site_absolute_kpa: float
    headspace_m3: float
    fill: float
    most_fill_at_55_c: float
    most_net_kg_at_55_c: float
    adr_fill: float
    adr_net_kg: float
    full_of_liquid_at_c: float | None
    agent_at_50_c_absolute_kpa: float
    agent_at_55_c_absolute_kpa: float
    un_mark: UnMarkOut | None
    dew_point: DewPointOut | None
    said: list[str]


class DrumOut(Answer):
    """A drum; ``condition`` is the gravest of ``conditions``, ``clear`` without any."""

    tag: str
    side: str
    product: str
    lot: str
    site: str
    place: str
    net_kg: float
    received_at: MomentOut
    ended: str | None
    estimate: EstimateOut | None
    readiness: ReadinessOut
    condition: str
    conditions: list[str]
    pressure_kpa: float | None
    pressure: PressureOut | None
    was_cold: WasColdOut | None
    degree_hours: float | None
    age: AgeOut | None
    agent: AgentOut | None
    mixed_lots: bool
    wanted_at: MomentOut | None
    start_by: MomentOut | None


class EventRecorded(Answer):
    """An event as recorded, and the drum as it is computed with it."""

    event: EventOut
    drum: DrumOut


class HistoryPoint(Answer):
    """A drum and its air at one time, °C; ``ahead`` where it is yet to come."""

    at: MomentOut
    air_c: float | None
    bottom_c: float | None
    mean_c: float | None
    top_c: float | None
    low_c: float | None
    high_c: float | None
    supported: bool


class AirHourOut(Answer):
    """Air of an hour where the drum was, °C: lowest, mean and highest; ``at`` is its middle."""

    at: MomentOut
    low_c: float
    mean_c: float
    high_c: float


class HistoryOut(Answer):
    """What was computed of a drum from start to end, and what happened to it.

    ``resolution_s`` is 0 where ``air_c`` is that of the time itself; over more than 14 days it is
    3600: the mean of the hour, and ``air`` holds the lowest, mean and highest of each hour.
    ``straps`` are the readings of sensors on it that counted, or were refused, in that time.
    """

    tag: str
    resolution_s: int
    points: list[HistoryPoint]
    air: list[AirHourOut]
    events: list[EventOut]
    straps: list[StrapMetOut]
