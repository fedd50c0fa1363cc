"""Drums as answered."""

from drumkeep.api.schemas.events import EventOut
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
    warm_room: str | None
    ready_in_warm_room_at: MomentOut | None


class WasColdOut(Answer):
    """The lasting mark of iso that was under its seeding limit."""

    min_c: float
    hours: float


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
    was_cold: WasColdOut | None
    degree_hours: float | None
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


class HistoryOut(Answer):
    """What was computed of a drum from start to end, and what happened to it."""

    tag: str
    points: list[HistoryPoint]
    events: list[EventOut]
