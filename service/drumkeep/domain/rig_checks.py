"""The parts of a rig that want a look every week.

The interval and the list are common practice, no source; the maker's book of the machine goes
before them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

INTERVAL: Final = timedelta(days=7)
"""Common practice, no source."""

HIGHEST_KPA: Final = 40_000.0
"""A gauge on a gas bottle does not say more: bottles are filled to 300 bar at most (memory)."""


class RigPart(StrEnum):
    """What is looked at."""

    LUBRICANT = "lubricant"
    PACKING_NUT = "packing_nut"
    DESICCANT = "desiccant"
    NITROGEN = "nitrogen"


class RigFinding(StrEnum):
    """What the look found: as it should be, put right by changing it, or something to read."""

    FINE = "fine"
    CHANGED = "changed"
    NOTE = "see_note"


class RigState(StrEnum):
    """Where a part stands in its week."""

    NEVER = "never"
    DONE = "done"
    DUE = "due"
    OVERDUE = "overdue"


DUE_WITHIN: Final = timedelta(days=1)
"""The last day of the week: it is due, and not late."""


@dataclass(frozen=True, slots=True)
class RigNow:
    """A rig with the last look at each part; ``ref`` is ``site/code``, ids otherwise.

    ``first_at`` is the first look at any of its parts ever: the rig's weeks begin with it.
    """

    place: int
    site: int
    name: str
    ref: str
    last_at: Mapping[RigPart, datetime]
    first_at: datetime | None


def due_at(rig: RigNow, part: RigPart) -> datetime | None:
    """Return until when a part wants its next look; None while the rig was never looked at.

    A rig that nobody ever checked is listed and raises no alarm: the practice is not taken up yet.
    From its first look on, a part that was left out is late after a week like the others.
    """
    begun = rig.last_at.get(part, rig.first_at)
    return None if begun is None else begun + INTERVAL


def state_of(rig: RigNow, part: RigPart, *, now: datetime) -> RigState:
    """Return where a part stands."""
    due = due_at(rig, part)
    if due is None:
        return RigState.NEVER
    if now >= due:
        return RigState.OVERDUE
    if part not in rig.last_at:
        return RigState.NEVER
    return RigState.DUE if now >= due - DUE_WITHIN else RigState.DONE


def overdue_parts(rig: RigNow, *, now: datetime) -> list[RigPart]:
    """Return the parts of a rig whose look is late, in the order of the list."""
    return [part for part in RigPart if state_of(rig, part, now=now) is RigState.OVERDUE]
