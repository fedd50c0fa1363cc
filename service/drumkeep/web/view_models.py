"""What the pages show: frozen records, SI inside, formatted only while a page is rendered.

Routes fill these from what operations return; templates read them and decide nothing. All times
are aware datetimes, temperatures °C, masses kg, pressures kPa above the air outside.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from drumkeep.domain.glances import gravity_of

SideName = Literal["iso", "resin"]
Basis = Literal["measured", "modelled", "unsupported"]
ReadinessName = Literal["on_hold", "unknown", "too_warm", "too_cold", "ready"]
ConditionName = Literal[
    "clear",
    "seeding_risk",
    "solids_suspected",
    "redissolving",
    "gassing",
    "agent_loss_suspected",
    "pressure",
    "overpressure",
    "bulged",
]
Phrase = Literal["READY", "NOT YET", "DO NOT OPEN", "LOOK FIRST", "ASK"]
Units = Literal["us", "si"]
Point = tuple[float, float]
PointAhead = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewer:
    """The person who looks at the page."""

    display_name: str
    role: str
    units: Units
    csrf: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitView:
    """One limit of a product and where it comes from."""

    name: str
    c: float
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureView:
    """What is computed of a drum's pressure, fill and moisture: names and sentences."""

    facts: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumView:
    """One drum as every page shows it.

    ``answer`` is what its verdict page says. ``layers_c`` holds eight temperatures, bottom first;
    each temperature is None when it is not known. ``wanted_at`` and ``start_by`` go together: be
    warm then, begin to warm before. ``content`` tells what the liquid went through: names and
    sentences; ``too_hot`` whether its liquid may be over the product's maximum; ``weighed_to_kg``
    what the scale read to that weighed it last. ``mix_first`` and ``tight`` tell what the rules say
    in words: to mix it is the thing to do, and it must not be heated as tight as it is.
    """

    tag: str
    side: SideName
    product: str
    product_code: str
    lot: str
    place: str
    place_code: str
    place_kind: str
    site: str
    fill: float
    net_kg: float
    readiness: ReadinessName
    answer: Phrase
    use_band_c: tuple[float, float]
    storage_band_c: tuple[float, float]
    output_class: str
    layers_c: tuple[float, ...] | None = None
    bottom_c: float | None = None
    mean_c: float | None = None
    top_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    basis: Basis | None = None
    computed_at: datetime | None = None
    supported_to: datetime | None = None
    reasons: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    ready_at: datetime | None = None
    ready_from: datetime | None = None
    warm_room: str | None = None
    ready_in_warm_room_at: datetime | None = None
    ready_in_warm_room_from: datetime | None = None
    conditions: tuple[ConditionName, ...] = ()
    pressure_kpa: float | None = None
    pressure: PressureView | None = None
    limits: tuple[LimitView, ...] = ()
    wanted_at: datetime | None = None
    start_by: datetime | None = None
    hold_reason: str | None = None
    ended: str | None = None
    made_on: datetime | None = None
    expires_on: datetime | None = None
    content: tuple[tuple[str, str], ...] = ()
    warming: bool = False
    too_hot: bool = False
    mix_first: bool = False
    unmeasured: bool = False
    tight: bool = False
    weighed_to_kg: float | None = None
    timezone: str = "UTC"

    @property
    def letter(self) -> str:
        """The letter painted on the drum."""
        return "A" if self.side == "iso" else "B"

    @property
    def soonest_ready_at(self) -> datetime | None:
        """The earlier of the two times at which the drum will be ready, or None."""
        times = [t for t in (self.ready_at, self.ready_in_warm_room_at) if t is not None]
        return min(times, default=None)

    @property
    def ready_where(self) -> str | None:
        """The warm room, if it is there that the drum will be ready soonest."""
        there = self.soonest_ready_at is not None and self.soonest_ready_at != self.ready_at
        return self.warm_room if there else None

    @property
    def sweats(self) -> bool:
        """Whether it must stay shut for the wet air around it alone."""
        return sweats(self.conditions, answer=self.answer, too_hot=self.too_hot)

    @property
    def gravity(self) -> int:
        """Place in ``GRAVITY`` of the worst thing about the drum; 0 is the gravest."""
        return gravity_of(self.readiness, self.conditions)


def sweats(conditions: Sequence[str], *, answer: Phrase, too_hot: bool) -> bool:
    """Return whether a drum must stay shut for the wet air around it alone."""
    other = {"bulged", "overpressure", "pressure"} & set(conditions)
    return answer == "DO NOT OPEN" and not other and not too_hot


@dataclass(frozen=True, slots=True, kw_only=True)
class EventView:
    """Something that was done to a drum; ``words`` says it in one short sentence.

    ``met`` says what the computation made of it, ``refused`` whether it could not use it.
    ``undo`` is its id where the reader may take it back now; ``withdrawn`` that it was.
    """

    at: datetime
    recorded_at: datetime
    by: str
    kind: str
    words: str
    met: str = ""
    refused: bool = False
    undo: str = ""
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryRow:
    """One line of the table that stands in for the chart."""

    at: datetime
    air_c: float | None = None
    bottom_c: float | None = None
    mean_c: float | None = None
    top_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    ahead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AirLine:
    """Air of a place: ``past`` (epoch ms, °C), ``ahead`` (epoch ms, likely, low and high °C).

    ``basis`` says in a sentence what the air ahead rests on; empty without it.
    """

    past: Sequence[Point] = ()
    ahead: Sequence[PointAhead] = ()
    basis: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupView:
    """Drums of one lot in one place.

    ``gravest`` is the drum that stands for the group: the gravest, of equals the coldest.
    ``by_readiness`` is the number of drums by readiness, gravest first, without zeros, ``marks``
    that by what else is said of them. ``coldest_c`` is the coldest bottom and the band over all
    drums (°C), ``soonest`` when the first will be ready and, if that is there, in which warm room;
    None where not known. ``drums`` holds those that are drawn singly, the next to use first.
    """

    lot: str
    product: str
    side: SideName
    size: int
    gravest: DrumView
    by_readiness: tuple[tuple[str, int], ...]
    marks: tuple[tuple[str, int], ...] = ()
    coldest_c: tuple[float, float, float] | None = None
    soonest: tuple[datetime, str | None] | None = None
    drums: tuple[DrumView, ...] = ()

    @property
    def letter(self) -> str:
        """The letter painted on the drums."""
        return "A" if self.side == "iso" else "B"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfView:
    """One place with what stands on it and the air around it."""

    place: str
    code: str
    kind: str
    kind_words: str
    site: str
    timezone: str = "UTC"
    air_c: float | None = None
    air_at: datetime | None = None
    air_basis: str | None = None
    air_line: AirLine = field(default_factory=AirLine)
    limit_lines: tuple[LimitView, ...] = ()
    night_low: tuple[float, datetime] | None = None
    day_high: tuple[float, datetime] | None = None
    doubts: tuple[str, ...] = ()
    groups: tuple[GroupView, ...] = ()

    @property
    def size(self) -> int:
        """How many drums stand here."""
        return sum(group.size for group in self.groups)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskView:
    """One line of the list "Now": one cause, the verb first."""

    alarm_id: str
    text: str
    audience: str
    priority: str
    state: str
    since: datetime
    deadline: datetime | None = None
    drums: tuple[str, ...] = ()
    place_code: str | None = None
    timezone: str = "UTC"
    can_acknowledge: bool = False

    @property
    def urgent(self) -> bool:
        """Whether it stands first: what is critical, and what is high and nobody is on."""
        waits = self.state == "unacknowledged"
        return self.priority == "critical" or (self.priority == "high" and waits)


@dataclass(frozen=True, slots=True, kw_only=True)
class LowView:
    """A consumable under its minimum; ``hand`` and ``minimum`` with their unit."""

    name: str
    place: str
    hand: str | None
    minimum: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorView:
    """The floor: what to do now, then every place.

    ``filters`` holds the filter as it stands in the address (name to value), ``choices`` what
    each may be (name to pairs of value and words), ``query`` the same filter as a query string.
    ``counts`` is the number of drums by readiness over the whole floor. ``unheard`` warns where
    nobody would hear of an alarm away from the pages. ``low`` consumables and the
    number of ``unchecked`` rigs are lines of "Now" that no alarm stands behind.
    """

    tasks: tuple[TaskView, ...]
    shelves: tuple[ShelfView, ...]
    checked_at: datetime
    low: tuple[LowView, ...] = ()
    unchecked: int = 0
    oldest_reading_at: datetime | None = None
    filter_words: str = ""
    filters: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    query: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    unheard: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmEntry:
    """One line of an alarm's history."""

    at: datetime
    words: str
    by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeView:
    """One notice: ``told`` says to whom and how, ``fate`` what became of it, in words."""

    told: str
    fate: str
    state: str
    at: datetime
    text: str = ""
    alarm_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmView:
    """One alarm: one cause, the drums under it, its state as ISA-18.2 names it.

    ``sensor`` is what that of a sensor's alarm is called, beside where it hangs.
    """

    id: str
    kind: str
    cause: str
    state: str
    priority: str
    audience: str
    since: datetime
    message: str
    sensor: str | None = None
    drums: tuple[str, ...] = ()
    acknowledged_by: str | None = None
    acknowledged_at: datetime | None = None
    returned_at: datetime | None = None
    history: tuple[AlarmEntry, ...] = ()
    notices: tuple[NoticeView, ...] = ()
    timezone: str = "UTC"
    can_acknowledge: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictView:
    """The one-screen answer behind a drum's QR code."""

    drum: DrumView
    phrase: Phrase
    reason: str
    do: str
    time: datetime | None = None
    where: str | None = None
    nearest_ready: tuple[str, str] | None = None
    may_record: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultView:
    """One thing wrong with what was sent: where, what it was, and the mend."""

    name: str
    value: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProblemView:
    """A page that says why something did not work and how to go on."""

    status: int
    title: str
    detail: str
    faults: tuple[FaultView, ...] = ()
    back: str = "/floor"
    back_words: str = "Go to the floor"
