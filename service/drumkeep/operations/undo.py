"""Taking back what was recorded by mistake, for ten minutes; the log keeps both."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final
from uuid import UUID, uuid5

from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.roles import CORRECTION_WINDOW, Action, may
from drumkeep.errors import Conflict, Fault, Invalid, Refused
from drumkeep.operations.drums import By, Happening, drum_tagged, log_happening
from drumkeep.operations.refresh import refresh_drums
from drumkeep.storage import drums as rows
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

NEVER: Final = frozenset({EventKind.RECEIVED, EventKind.CORRECTED})
"""Kinds that are not taken back: a drum without a receipt has no past, a correction is one."""

_UNDO: Final = "undo"
"""Makes the UUID of the correction from that of what it takes back: pressed twice, done once."""


def undo_event(tx: Tx, *, tag: str, event_id: UUID, by: By, now: datetime) -> Drum:
    """Take one event of a drum back; its past is computed as if it had not been.

    Raises
    ------
    Invalid
        The drum has no such event.
    Conflict
        More than ten minutes have passed, or what came after it makes no sense without it.
    Refused
        Somebody else recorded it, and the role is not a manager's.
    """
    (drum,) = undo_many(tx, events=[(tag, event_id)], by=by, now=now)
    return drum


def undo_many(tx: Tx, *, events: Sequence[tuple[str, UUID]], by: By, now: datetime) -> list[Drum]:
    """Take events of several drums back, by tag and id: all, or none."""
    if not events:
        mend = "Look at the drums: what happened stands on their pages."
        raise Invalid("There is nothing to undo.", [Fault("event", None, "is not known", mend)])
    drums: list[Drum] = []
    changed: dict[int, int] = {}
    for tag, event_id in events:
        undo = uuid5(event_id, _UNDO)
        drum = drum_tagged(tx, tag=tag)
        drums.append(drum)
        if rows.event_by_id(tx, event_id=undo) is not None:
            continue
        _check(tx, drum=drum, event_id=event_id, by=by, now=now)
        happening = Happening(
            event_id=undo,
            kind=EventKind.CORRECTED,
            at=now,
            data={"event": str(event_id), "void": True},
        )
        logged = log_happening(tx, tag=tag, happening=happening, by=by, now=now)
        for drum_id, since in logged.changed.items():
            changed[drum_id] = min(since, changed.get(drum_id, since))
    if changed:
        refresh_drums(tx, since=changed, now=now)
    return drums


def undoable(log: Sequence[DrumEvent], *, by: By, now: datetime) -> frozenset[UUID]:
    """Return the ids of a drum's events that somebody may take back now."""
    return frozenset(
        event.id
        for event in effective(log)
        if event.kind not in NEVER
        and now - event.recorded_at <= CORRECTION_WINDOW
        and _is_theirs(event, by)
    )


def _is_theirs(event: DrumEvent, by: By) -> bool:
    own = by.account_id is not None and event.by == by.account_id
    return may(by.role, Action.CORRECT_OWN if own else Action.CORRECT_ANY)


def _check(tx: Tx, *, drum: Drum, event_id: UUID, by: By, now: datetime) -> None:
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    event = next((one for one in log if one.id == event_id), None)
    if event is None or event.kind in NEVER:
        mend = "Look at the drum's page: what can be undone has a button beside it."
        fault = Fault("event", str(event_id), "is nothing that can be undone", mend)
        raise Invalid("That cannot be undone.", [fault])
    if not _is_theirs(event, by):
        raise Refused(f"The role {by.role} may not {Action.CORRECT_ANY}; ask whoever recorded it.")
    if now - event.recorded_at > CORRECTION_WINDOW:
        minutes = int(CORRECTION_WINDOW.total_seconds() // 60)
        problem = f"was recorded more than {minutes} minutes ago"
        mend = "Record what is so now; a manager may correct the record itself."
        raise Conflict(
            "It is too late to undo that.", [Fault("event", str(event_id), problem, mend)]
        )
