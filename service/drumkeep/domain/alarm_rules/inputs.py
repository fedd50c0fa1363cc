"""What alarm rules look at: drums, sensors and gateways as last computed and heard of."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarms import AlarmKind
from drumkeep.domain.conditions import kept_off_by
from drumkeep.domain.gateway_clocks import ClockOff
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Doubt
from drumkeep.domain.products import Limits, Side
from drumkeep.domain.sensors import What

MANAGER: Final = "manager"
DISPATCHER: Final = "dispatcher"
CREW: Final = "crew"

DOUBTED_LATELY: Final = timedelta(hours=6)
"""A sensor that gave nonsense again and again within this is told of."""

UNKNOWN_MEANWHILE: Final = "Its drums are not known meanwhile: dip before use."

Told = Callable[[AlarmKind, str], bool]
"""Whether the cause of a kind has an open alarm."""

Was = Callable[[AlarmKind, str, str], bool]
"""Whether a drum (tag) is under the open alarm of a kind and cause: for dead bands."""


@dataclass(frozen=True)
class DrumNow:
    """A drum as last computed, as the rules need it; steps are grid steps, NEVER when not so.

    ``dew_margin_k`` is how far its coldest surface lies above the dew point of the air round it.
    ``heated`` says whether a heater is on, ``recheck_since`` when the ratio pulsed that it fed.
    ``place_ref`` and ``lot_ref`` name them by what no other is called: site and product included.
    ``computed`` is False for one that cannot be: a fault of the program, so nothing is known of it.
    """

    tag: str
    side: Side
    limits: Limits
    lot: str
    lot_ref: str
    place: int
    place_name: str
    place_kind: PlaceKind
    place_ref: str
    site: int
    step: int
    supported: bool
    bottom_low_c: float | None
    mean_c: float | None
    pressure_kpa: float | None
    overpressure: bool
    seed_since: int
    gas_since: int
    below_since: int
    above_since: int
    cold_steps: int
    seeds_at: datetime | None
    cold_hours: float
    lowest_c: float | None
    wanted_at: datetime | None
    start_by: datetime | None
    slow_ready_at: datetime | None
    ready: bool
    in_warm_room: bool
    open_since: datetime | None
    expires_at: datetime
    dew_margin_k: float | None = None
    humidity: float | None = None
    humidity_assumed: bool = False
    heated: bool = False
    recheck_since: datetime | None = None
    bulged: bool = False
    computed: bool = True

    @property
    def kept_off(self) -> bool:
        """Whether it is neither opened nor moved (``conditions.KEPT_OFF``)."""
        return bool(
            kept_off_by(
                bulged=self.bulged,
                overpressure=self.overpressure,
                pressure_kpa=self.pressure_kpa,
            )
        )


@dataclass(frozen=True)
class SensorNow:
    """A sensor, the last time it measured, by sample times and never by arrival, and its doubts.

    ``place`` and ``place_name`` are None for one on a drum; ``doubts`` are those of the last
    :data:`DOUBTED_LATELY`, oldest first.
    """

    name: str
    site: int
    place: int | None
    place_name: str | None
    interval_s: float
    hung_at: datetime
    last_at: datetime | None
    gateway: str | None
    drums: tuple[str, ...]
    what: What = What.AIR
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class GatewayNow:
    """A gateway, whether it says that it is there, and what is wrong with its clock."""

    code: str
    site: int
    online: bool
    presence_at: datetime | None
    drums: tuple[str, ...]
    clock_off: ClockOff | None = None


@dataclass(frozen=True)
class BatteryNow:
    """A battery as it last said how full it is; ``bearer`` names in words what it feeds."""

    name: str
    bearer: str
    site: int
    percent: float
    at: datetime


def group_by(
    drums: Iterable[DrumNow], key: Callable[[DrumNow], Hashable]
) -> Mapping[Hashable, list[DrumNow]]:
    """Group drums, in the order given."""
    groups: dict[Hashable, list[DrumNow]] = defaultdict(list)
    for drum in drums:
        groups[key(drum)].append(drum)
    return groups


def count(drums: Sequence[DrumNow]) -> str:
    """Say how many drums, and of which side if of one: "6 iso drums"."""
    sides, number = {d.side for d in drums}, len(drums)
    if sides == {Side.ISO}:
        return "1 iso drum" if number == 1 else f"{number} iso drums"
    if sides == {Side.RESIN}:
        return "1 resin drum" if number == 1 else f"{number} resin drums"
    return "1 drum" if number == 1 else f"{number} drums"


def tags(drums: Iterable[DrumNow]) -> tuple[str, ...]:
    """Return their tags, sorted."""
    return tuple(sorted(d.tag for d in drums))
