"""Many drums moved in one go: all of them, or none; and taken back again."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final
from uuid import UUID, uuid5

from drumkeep.domain.events import EventKind
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid
from drumkeep.operations.drums import (
    By,
    Happening,
    Logged,
    log_happening,
)
from drumkeep.operations.places import refuse_beyond_capacity
from drumkeep.operations.refresh import refresh_drums
from drumkeep.operations.undo import undo_many
from drumkeep.storage import drums as rows
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx

MOST_AT_ONCE: Final = 80
"""More than a truck carries."""


@dataclass(frozen=True)
class Carried:
    """A drum to move, and the id of the place where it was last seen; None: not told."""

    tag: str
    seen_in: int | None = None


@dataclass(frozen=True)
class Move:
    """Drums that go to one place together; ``id`` is the client's UUID, ``to`` a place's id."""

    id: UUID
    to: int
    at: datetime
    drums: Sequence[Carried] = field(default_factory=tuple)
    note: str | None = None


def move_drums(tx: Tx, *, move: Move, by: By, now: datetime) -> list[tuple[Drum, Event]]:
    """Move drums to a place: all of them, or none if one may not go.

    The same UUID again gives the same answer.

    Raises
    ------
    Invalid, Conflict
        With a fault for each drum that may not go, or for the place where they do not fit.
    Refused
        The role may not record.
    """
    if not 1 <= len(move.drums) <= MOST_AT_ONCE:
        mend = f"Choose 1 to {MOST_AT_ONCE} drums."
        fault = Fault("drums", len(move.drums), "is too few or too many", mend)
        raise Invalid("Nothing was moved.", [fault])
    logged: list[Logged] = []
    faults: list[Fault] = []
    for carried in {one.tag: one for one in move.drums}.values():
        happening = Happening(
            event_id=event_id(move.id, tag=carried.tag),
            kind=EventKind.MOVED,
            at=move.at,
            data={"to": move.to},
            note=move.note,
            seen_in=carried.seen_in,
        )
        try:
            logged.append(log_happening(tx, tag=carried.tag, happening=happening, by=by, now=now))
        except (Invalid, Conflict) as error:
            faults += _of_drum(error, carried.tag)
    if faults:
        raise Conflict("Nothing was moved: not all of them may go.", faults)
    changed = {drum_id: since for one in logged for drum_id, since in one.changed.items()}
    if changed:
        refuse_beyond_capacity(tx, place_id=move.to, came=len(changed))
        refresh_drums(tx, since=changed, now=now)
    return [(one.drum, one.row) for one in logged]


def event_id(move_id: UUID, *, tag: str) -> UUID:
    """Return the id of the event that a move gives a drum."""
    return uuid5(move_id, tag)


def moved(tx: Tx, *, move_id: UUID, tags: Sequence[str]) -> list[tuple[Drum, Event]]:
    """Return those of some drums that a move moved, with its events."""
    drums = rows.drums_by_id(tx, ids=list(rows.ids_by_tag(tx, tags=list(tags)).values()))
    found = [
        (drum, rows.event_by_id(tx, event_id=event_id(move_id, tag=drum.tag)))
        for drum in drums.values()
    ]
    return [(drum, event) for drum, event in found if event is not None]


def undo_move(tx: Tx, *, move_id: UUID, tags: Sequence[str], by: By, now: datetime) -> list[Drum]:
    """Take a move of several drums back, of all or of none.

    Raises
    ------
    Conflict, Refused, Invalid
        It is too late, or it was recorded by somebody else.
    """
    done = moved(tx, move_id=move_id, tags=tags)
    return undo_many(tx, events=[(drum.tag, event.id) for drum, event in done], by=by, now=now)


def _of_drum(error: DrumkeepError, tag: str) -> list[Fault]:
    """Have the faults name the drum that may not go, and keep what was wrong with it."""
    return [
        replace(
            fault,
            field=f"drums.{tag}",
            value=tag,
            problem=fault.problem
            if fault.field in ("drum", "tag")
            else f"{error.title.rstrip('.').lower()}: {fault.field} {fault.problem}",
        )
        for fault in error.faults
    ]
