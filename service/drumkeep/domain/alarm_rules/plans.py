"""What is wanted and by when: warm-up, being in time, shelf life."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import (
    DISPATCHER,
    MANAGER,
    DrumNow,
    Was,
    count,
    group_by,
    tags,
)
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.grid import moment_of
from drumkeep.domain.wording import moment

WARM_UP_NOTICE: Final = timedelta(hours=2)

READY_BEFORE: Final = timedelta(minutes=30)
"""A drum is to be ready this long before it is wanted."""

SHELF_DAYS: Final = (0, 7, 30)


def _wanted_cause(drum: DrumNow) -> str:
    assert drum.wanted_at is not None  # noqa: S101 - grouped by it
    return f"site {drum.site} {drum.wanted_at:%Y-%m-%dT%H:%MZ}"


def warm_up(drums: Sequence[DrumNow], *, now: datetime) -> list[Finding]:
    """Say which drums wanted at one time must go into the warm room, from two hours before."""
    starting = [
        d
        for d in drums
        if d.start_by is not None
        and not d.in_warm_room
        and d.start_by - WARM_UP_NOTICE <= now
        and not d.ready
        and not _ready_unaided(d)
    ]
    if not starting:
        return []
    first = starting[0]
    by = min(d.start_by for d in starting if d.start_by is not None)
    return [
        Finding(
            kind=AlarmKind.WARM_UP,
            cause=_wanted_cause(first),
            site=first.site,
            place=None,
            priority=Priority.HIGH,
            audience=(MANAGER,),
            message=(
                f"Move {count(starting)} into the warm room by {moment(by)}: wanted "
                f"{moment(first.wanted_at or by)}."
            ),
            drums=tags(starting),
            phase="forecast",
            deadline=by,
        )
    ]


def _ready_unaided(drum: DrumNow) -> bool:
    """Tell whether a drum will be ready well before it is wanted where it stands, slow case."""
    ready_at, wanted_at = drum.slow_ready_at, drum.wanted_at
    return ready_at is not None and wanted_at is not None and ready_at <= wanted_at - READY_BEFORE


def not_in_time(drums: Sequence[DrumNow], *, was: Was, now: datetime) -> list[Finding]:
    """Say which drums wanted at one time will not be ready by then, slow case."""
    late = []
    for d in drums:
        assert d.wanted_at is not None  # noqa: S101 - grouped by it
        if d.ready:
            continue
        warm_up_helps = (
            d.start_by is not None and d.start_by >= moment_of(d.step) and not d.in_warm_room
        )
        slow = d.slow_ready_at
        held = was(AlarmKind.NOT_IN_TIME, _wanted_cause(d), d.tag)
        margin = timedelta(minutes=15) if held else timedelta(0)
        if not warm_up_helps and (slow is None or slow > d.wanted_at - margin):
            late.append(d)
    if not late:
        return []
    first = late[0]
    return [
        Finding(
            kind=AlarmKind.NOT_IN_TIME,
            cause=_wanted_cause(first),
            site=first.site,
            place=None,
            priority=Priority.HIGH,
            audience=(MANAGER, DISPATCHER),
            message=(
                f"Take other drums than these {len(late)} or a later time: they will not be ready "
                f"by {moment(first.wanted_at or now)}."
            ),
            drums=tags(late),
            deadline=first.wanted_at,
        )
    ]


def shelf_life(drums: Sequence[DrumNow], *, today: date) -> list[Finding]:
    """Say which lots expire within 30 days, 7 days, or have; heat ends some drums' life sooner."""

    def left_of(drum: DrumNow) -> int:
        return (drum.expires_at.date() - today).days

    found = []
    ending = [drum for drum in drums if left_of(drum) <= max(SHELF_DAYS)]
    for whole in group_by(ending, lambda d: (d.site, d.lot_ref)).values():
        first = min(whole, key=lambda d: d.expires_at)
        left = left_of(first)
        expired = left <= 0
        some = [drum for drum in whole if left_of(drum) <= 0] if expired else whole
        words = (
            f"Put {count(some)} of lot {first.lot} aside: past shelf life."
            if expired
            else f"Use {count(some)} of lot {first.lot} first: {left} days of shelf life left."
        )
        urgent = left <= SHELF_DAYS[1]
        found.append(
            Finding(
                kind=AlarmKind.SHELF_LIFE,
                cause=f"site {first.site} lot {first.lot_ref}",
                site=first.site,
                place=None,
                priority=Priority.HIGH if urgent else Priority.MEDIUM,
                audience=(MANAGER,),
                message=words,
                drums=tags(some),
                phase="done" if expired else "now" if urgent else "forecast",
                deadline=None if expired else first.expires_at,
            )
        )
    return found
