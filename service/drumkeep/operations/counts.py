"""Count what stands in a place, and mend what differs from the records, each with one tap.

While a count goes on its differences are found anew at every look, from the records as they are
then. When it is finished they are written down as they were; nothing is changed without a tap.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from drumkeep.domain.checks import Checks
from drumkeep.domain.counts import (
    MENDS,
    NOT_FOUND,
    Difference,
    DifferenceKind,
    Kept,
    Mend,
    differences,
)
from drumkeep.domain.events import EventKind
from drumkeep.domain.tags import parse
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.operations.drums import By, Happening, drum_tagged, facts_of, log_happening
from drumkeep.operations.places import place_named
from drumkeep.operations.refresh import refresh_drums
from drumkeep.storage import counts as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.tables.counts import Count, CountDifference, CountSeen
from drumkeep.storage.transaction import Tx

MOST_SEEN: Final = 2000
"""In one count: more drums than that stand in no place that one person counts in one go."""


@dataclass(frozen=True, slots=True)
class CountNow:
    """A count with what was seen; of an open one the differences as they are now."""

    row: Count
    seen: Sequence[CountSeen]
    differences: Sequence[CountDifference]


def begin_count(tx: Tx, *, place: str, client_id: UUID, by: By, now: datetime) -> Count:
    """Begin to count a place, or go on with the count of it that is not finished.

    Raises
    ------
    Invalid
        There is no such place.
    Conflict
        Another place was counted under this id.
    """
    where = place_named(tx, reference=place, field="place")
    known = rows.count_by_client(tx, client_id=client_id)
    if known is not None and known.place_id != where.id:
        mend = "Make a new UUID for each count."
        fault = Fault("id", str(client_id), "belongs to another count", mend)
        raise Conflict("Another place was counted under this id.", [fault])
    found = known or rows.open_count(tx, place_id=where.id)
    if found is not None:
        return found
    return add(
        tx,
        Count(
            client_id=client_id,
            place_id=where.id,
            begun_at=now,
            account_id=by.account_id,
            by=by.name,
        ),
    )


def see_drum(tx: Tx, *, count_id: int, tag: str, by: By, now: datetime) -> CountSeen:
    """Record that a drum was seen; again is no harm.

    Raises
    ------
    NotFound
        There is no such count.
    Invalid
        It is no tag.
    Conflict
        The count is finished, or full.
    """
    count = count_at(tx, count_id=count_id)
    written = parse(tag)
    known = rows.seen_tag(tx, count_id=count.id, tag=written)
    if known is not None:
        return known
    _refuse_finished(count)
    if rows.seen_numbers(tx, count_ids=[count.id]).get(count.id, 0) >= MOST_SEEN:
        fault = Fault("tag", written, f"is more than the {MOST_SEEN} a count holds", "Finish it.")
        raise Conflict("The count is full.", [fault])
    kept = _kept(tx, tags=[written], place_id=count.place_id).get(written)
    return add(
        tx,
        CountSeen(
            count_id=count.id,
            tag=written,
            drum_id=None if kept is None else kept.drum_id,
            at=now,
            by=by.name,
        ),
    )


def unsee_drum(tx: Tx, *, count_id: int, tag: str) -> None:
    """Take back that a drum was seen: it was scanned by mistake.

    Raises
    ------
    NotFound
        There is no such count.
    Conflict
        The count is finished.
    """
    count = count_at(tx, count_id=count_id)
    _refuse_finished(count)
    known = rows.seen_tag(tx, count_id=count.id, tag=parse(tag))
    if known is not None:
        tx.session.delete(known)


def finish_count(tx: Tx, *, count_id: int, by: By, now: datetime) -> Count:
    """Finish a count: its differences are written down as they are now; again is no harm.

    Raises
    ------
    NotFound
        There is no such count.
    """
    count = count_at(tx, count_id=count_id)
    if count.finished_at is not None:
        return count
    for found in _differences(tx, count, rows.seen(tx, count_id=count.id)):
        add(tx, _as_row(count, found))
    count.finished_at, count.finished_by = now, by.name
    return add(tx, count)


def mend_difference(
    tx: Tx, *, count_id: int, tag: str, mend: str, event_id: UUID, by: By, now: datetime
) -> CountDifference:
    """Mend one difference of a finished count as a person chose; again is no harm.

    Raises
    ------
    NotFound
        There is no such count, or it found no such difference.
    Invalid
        There is no such way to mend.
    Conflict
        It cannot be mended so, was mended otherwise, or the drum's record does not allow it.
    Refused
        The role may not record such an event.
    """
    checks = Checks()
    way = checks.one_of("mend", mend, Mend)
    checks.raise_faults("It cannot be mended so.")
    assert way is not None  # noqa: S101 - else a fault was raised
    count = count_at(tx, count_id=count_id)
    row = rows.difference(tx, count_id=count.id, tag=parse(tag))
    if row is None:
        fault = Fault("tag", tag, "is no difference of this count", "Take one from its list.")
        raise NotFound("The count found no such difference.", [fault])
    if row.mend is not None:
        if row.mend != way.value:
            fault = Fault("mend", way.value, f"comes after {row.mend}", "Record it on its page.")
            raise Conflict("That was mended already.", [fault])
        return row
    allowed = MENDS[DifferenceKind(row.kind)]
    if way not in allowed:
        hint = f"Use one of: {', '.join(allowed)}."
        fault = Fault("mend", way.value, f"does not mend {row.kind}", hint)
        raise Conflict("It cannot be mended so.", [fault])
    if way is not Mend.LEAVE:
        row.event_id = _record(tx, count, tag=row.tag, mend=way, event_id=event_id, by=by, now=now)
    row.mend, row.mended_at, row.mended_by = way.value, now, by.name
    return add(tx, row)


def count_now(tx: Tx, *, count_id: int) -> CountNow:
    """Return a count with what was seen and what differs.

    Raises
    ------
    NotFound
        There is no such count.
    """
    count = count_at(tx, count_id=count_id)
    seen = rows.seen(tx, count_id=count.id)
    if count.finished_at is not None:
        return CountNow(count, seen, rows.differences(tx, count_ids=[count.id]))
    found = [_as_row(count, one) for one in _differences(tx, count, seen)]
    return CountNow(count, seen, found)


def count_at(tx: Tx, *, count_id: int) -> Count:
    """Return the count that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    count = rows.count_by_id(tx, count_id=count_id)
    if count is None:
        fault = Fault("id", count_id, "is not known", "Take an id from the list of counts.")
        raise NotFound("There is no such count.", [fault])
    return count


def _refuse_finished(count: Count) -> None:
    if count.finished_at is not None:
        fault = Fault("id", count.id, "is finished", "Begin another count of the place.")
        raise Conflict("The count is finished.", [fault])


def _differences(tx: Tx, count: Count, seen: Sequence[CountSeen]) -> list[Difference]:
    tags = [one.tag for one in seen]
    kept = _kept(tx, tags=tags, place_id=count.place_id)
    return differences(tags, kept=kept, place=count.place_id)


def _kept(tx: Tx, *, tags: Sequence[str], place_id: int) -> dict[str, Kept]:
    return {
        drum.tag: Kept(
            drum_id=drum.id, tag=drum.tag, place=drum.place_id, gone=drum.ended is not None
        )
        for drum in rows.drums_concerned(tx, tags=tags, place_id=place_id)
    }


def _as_row(count: Count, found: Difference) -> CountDifference:
    kept = found.kept
    return CountDifference(
        count_id=count.id,
        kind=found.kind.value,
        tag=found.tag,
        drum_id=None if kept is None else kept.drum_id,
        recorded_id=None if kept is None else kept.place,
    )


def _record(
    tx: Tx, count: Count, *, tag: str, mend: Mend, event_id: UUID, by: By, now: datetime
) -> UUID:
    """Record the event that mends a difference."""
    drum = drum_tagged(tx, tag=tag)
    data: dict[str, Any]
    if mend is Mend.MOVE_HERE:
        kind, data = EventKind.MOVED, {"to": count.place_id}
    else:
        if drum.place_id != count.place_id or drum.ended is not None:
            hint = "Look at its page: somebody has moved it or recorded its end since."
            fault = Fault("tag", tag, "is not on record there any more", hint)
            raise Conflict("The drum was found since.", [fault])
        # a reason that it was on hold for before stands on, else its release would end that too
        hold = facts_of(tx, drum=drum).hold
        told = [NOT_FOUND]
        if hold is not None and NOT_FOUND not in hold.reason:
            told.append(f"before: {hold.reason}")
        kind, data = EventKind.HELD, {"reason": "; ".join(told)[:500]}
    happening = Happening(event_id=event_id, kind=kind, at=now, data=data, note=f"count {count.id}")
    # not record_event: what was seen there stands there, whatever the place is said to hold
    logged = log_happening(tx, tag=tag, happening=happening, by=by, now=now)
    refresh_drums(tx, since=logged.changed, now=now)
    return event_id
