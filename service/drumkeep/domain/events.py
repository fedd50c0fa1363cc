"""What happens to a drum: an append-only log, and what it amounts to.

Corrections are events too. ``effective`` folds them in and gives the past as it is now believed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from typing import Any, Final
from uuid import UUID


class EventKind(StrEnum):
    """The kinds of drum events."""

    RECEIVED = "received"
    WANTED = "wanted"
    MOVED = "moved"
    WEIGHED = "weighed"
    TOPPED = "topped"
    DECANTED = "decanted"
    DIPPED = "dipped"
    SKIN = "skin"
    OPENED = "opened"
    RESEALED = "resealed"
    BLANKETED = "blanketed"
    AGITATED = "agitated"
    VENTED = "vented"
    HEATED = "heated"
    HELD = "held"
    RELEASED = "released"
    INSPECTED = "inspected"
    RATIO_OFF = "ratio_off"
    EMPTIED = "emptied"
    DISPOSED = "disposed"
    CORRECTED = "corrected"


ENDING: Final = frozenset({EventKind.EMPTIED, EventKind.DISPOSED})

MEASURING: Final = frozenset({EventKind.DIPPED, EventKind.SKIN})


@dataclass(frozen=True)
class DrumEvent:
    """One thing that happened to one drum.

    ``data`` holds the kind's own fields in SI (``kg``, ``c``, ``height_m`` …); places are ids.
    """

    id: UUID
    kind: EventKind
    at: datetime
    recorded_at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)
    by: int | None = None
    note: str | None = None


def effective(events: Iterable[DrumEvent]) -> list[DrumEvent]:
    """Return what happened as it is now believed, in order of time.

    A correction replaces the fields it names, or withdraws its event with ``void``; of several
    corrections of one event the last recorded holds for each field. Equal times keep the order of
    recording.
    """
    ordered = sorted(events, key=lambda e: (e.recorded_at, e.id.int))
    believed: dict[UUID, DrumEvent | None] = {}
    for event in ordered:
        if event.kind is not EventKind.CORRECTED:
            believed[event.id] = event
            continue
        target = UUID(str(event.data["event"]))
        known = believed.get(target)
        if known is None:
            continue
        if event.data.get("void"):
            believed[target] = None
            continue
        changes = dict(event.data.get("data") or {})
        at = event.data.get("at")
        believed[target] = replace(
            known,
            data={**known.data, **changes},
            at=datetime.fromisoformat(at) if at is not None else known.at,
        )
    kept = [event for event in believed.values() if event is not None]
    return sorted(kept, key=lambda e: (e.at, e.recorded_at, e.id.int))
