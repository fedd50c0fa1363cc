"""Record what happens to drums, and find drums by what people call them."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from drumkeep.domain import tags
from drumkeep.domain.drum_past import first_measurement
from drumkeep.domain.drums import DrumFacts, check_time, fold
from drumkeep.domain.event_checks import ALREADY
from drumkeep.domain.events import MEASURING, DrumEvent, EventKind, effective
from drumkeep.domain.grid import to_ms
from drumkeep.domain.products import Product
from drumkeep.domain.roles import Role, correction_action, event_action, may
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid, NotFound, Refused
from drumkeep.operations.estimates import START_HOURS, origin_of
from drumkeep.operations.event_data import kept_data
from drumkeep.operations.ground import read_premises
from drumkeep.operations.places import refuse_beyond_capacity
from drumkeep.operations.pours import LOOKED_UP, corrected_event, other_drum, told_of
from drumkeep.operations.refresh import refresh_drums
from drumkeep.operations.twins import twin_of
from drumkeep.storage import catalogue
from drumkeep.storage import drums as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event, Stay
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True)
class By:
    """Who records: the account (None for a token), the name that is kept, and the role."""

    name: str
    role: Role
    account_id: int | None = None


@dataclass(frozen=True)
class Happening:
    """An event to record: its kind's own fields in ``data``, places as ids.

    ``seen_in`` is the place where whoever moves a drum last saw it; None where it was not told.
    """

    event_id: UUID
    kind: EventKind
    at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)
    note: str | None = None
    seen_in: int | None = None


@dataclass(frozen=True)
class Logged:
    """An event as logged, and from when on (epoch ms) which drums are to be computed anew."""

    drum: Drum
    row: Event
    changed: Mapping[int, int]


def record_event(
    tx: Tx, *, tag: str, happening: Happening, by: By, now: datetime
) -> tuple[Drum, Event]:
    """Record one thing that happened to a drum, and compute the drum anew from then on.

    The same UUID again gives the same answer; with other content it is refused.

    Raises
    ------
    NotFound
        No drum bears this tag.
    Refused
        The role may not.
    Conflict, Invalid
        It makes no sense with what is on record; nothing is stored.
    """
    logged = log_happening(tx, tag=tag, happening=happening, by=by, now=now)
    if logged.changed:
        if happening.kind is EventKind.MOVED:
            refuse_beyond_capacity(tx, place_id=int(happening.data["to"]))
        refresh_drums(tx, since=logged.changed, now=now)
    return logged.drum, logged.row


def log_happening(tx: Tx, *, tag: str, happening: Happening, by: By, now: datetime) -> Logged:
    """Do the same as :func:`record_event` and leave the computing, for many at once, to others."""
    drum = drum_tagged(tx, tag=tag)
    known = rows.event_by_id(tx, event_id=happening.event_id)
    if happening.kind is EventKind.RECEIVED:
        raise Conflict(
            "The drum is here already.",
            [Fault("kind", "received", "of a drum that has a tag", "Post new drums to /drums.")],
        )
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    before = effective(log)
    target = _target(log, happening)
    data = kept_data(happening.kind, happening.data, at=happening.at, drum=drum, target=target)
    if known is not None:
        _refuse_another(known, happening, drum=drum, data=data)
        return Logged(drum, known, {})
    if happening.seen_in is not None and happening.seen_in != drum.place_id:
        raise moved_meanwhile(tx, drum=drum, log=before)
    if target is not None:
        target = _as_believed(target, before)
    refuse_unless_may(by, happening.kind, target=target, now=now)
    _check_times(happening, data=data, now=now)
    event = DrumEvent(
        id=happening.event_id,
        kind=happening.kind,
        at=now if happening.kind is EventKind.WANTED else happening.at,
        recorded_at=now,
        data=data,
        by=by.account_id,
        note=happening.note,
    )
    event, twin = twin_of(tx, drum=drum, event=event, target=target)
    row, since = _take(tx, drum=drum, log=log, event=event, by=by)
    changed = {drum.id: since}
    if twin is not None:
        theirs = rows.events_of(tx, drum_ids=[twin.drum.id])[twin.drum.id]
        with told_of(twin.drum.tag):
            _, changed[twin.drum.id] = _take(
                tx, drum=twin.drum, log=theirs, event=twin.event, by=by
            )
    tx.session.flush()
    return Logged(drum, row, changed)


def moved_meanwhile(tx: Tx, *, drum: Drum, log: Sequence[DrumEvent]) -> Conflict:
    """Return the refusal of a move by somebody who does not know of the last one."""
    last = next(e for e in reversed(log) if e.kind in (EventKind.MOVED, EventKind.RECEIVED))
    row = rows.event_by_id(tx, event_id=last.id)
    where = catalogue.places_by_id(tx, ids=[drum.place_id])[drum.place_id].name
    by = "somebody" if row is None else row.by
    problem = f"went to {where} at {last.at:%Y-%m-%dT%H:%M:%SZ} meanwhile, by {by}"
    mend = "Look where it stands; if it is to go on from there, move it from there."
    return Conflict("Somebody moved it meanwhile.", [Fault("drum", drum.tag, problem, mend)])


def done_already(tx: Tx, *, drum: Drum, kind: EventKind) -> Conflict | None:
    """Return the refusal of what somebody else did since a page offered it; None if nobody did."""
    before = effective(rows.events_of(tx, drum_ids=[drum.id])[drum.id])
    words = ALREADY.get(kind, {})
    last = next((e for e in reversed(before) if e.kind in words), None)
    row = None if last is None else rows.event_by_id(tx, event_id=last.id)
    if last is None or row is None:
        return None
    problem = f"{words[last.kind]} at {last.at:%Y-%m-%dT%H:%M:%SZ} by {row.by}"
    mend = "Look at the drum before you go on; nothing more was recorded."
    return Conflict("That is done already.", [Fault("drum", drum.tag, problem, mend)])


def _take(
    tx: Tx, *, drum: Drum, log: Sequence[DrumEvent], event: DrumEvent, by: By
) -> tuple[Event, int]:
    """Log an event that makes sense of one drum; return its row and from when it counts, ms."""
    before = effective(log)
    with _places_by_reference(tx):
        facts = fold(effective([*log, event]), product=_product(tx, drum))
    row = log_event(tx, drum=drum, event=event, by=by)
    rows.project(tx, drum=drum, facts=facts, origin=origin_stay(tx, drum=drum, facts=facts))
    since = _changed_since(event, target=corrected_event(before, event), before=before)
    drum.from_ms = since if drum.from_ms is None else min(drum.from_ms, since)
    return row, drum.from_ms


def drum_tagged(tx: Tx, *, tag: str) -> Drum:
    """Return the drum that bears a tag, however it is typed.

    Raises
    ------
    Invalid
        It is no tag.
    NotFound
        No drum bears it.
    """
    written = tags.parse(tag)
    drum = rows.drum_by_tag(tx, tag=written)
    if drum is None:
        mend = "Look at the drum again; a drum that is not received yet has no page."
        raise NotFound("No drum bears this tag.", [Fault("tag", written, "is not known", mend)])
    return drum


def drum_named(tx: Tx, *, reference: str, field: str) -> Drum:
    """Return the drum that a field refers to by its tag.

    Raises
    ------
    Invalid
        It is no tag, or no drum bears it; the fault names the field.
    """
    return other_drum(tx, tag=tags.parse(reference, field=field), field=field)


def facts_of(tx: Tx, *, drum: Drum) -> DrumFacts:
    """Return what is true of a drum by what people recorded."""
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    return fold(effective(log), product=_product(tx, drum))


def _product(tx: Tx, drum: Drum) -> Product:
    return as_product(rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1])


def log_event(tx: Tx, *, drum: Drum, event: DrumEvent, by: By) -> Event:
    """Append an event to the log and return its row."""
    row = Event(
        id=event.id,
        drum_id=drum.id,
        kind=event.kind.value,
        at=event.at,
        recorded_at=event.recorded_at,
        account_id=event.by,
        by=by.name,
        data=dict(event.data),
        note=event.note,
    )
    tx.session.add(row)
    tx.session.flush()  # the sequence number, and the UUID's uniqueness now
    return row


def _refuse_another(
    known: Event, happening: Happening, *, drum: Drum, data: Mapping[str, Any]
) -> None:
    same = (
        known.drum_id == drum.id
        and known.kind == happening.kind.value
        and (known.kind == EventKind.WANTED or known.at == happening.at)
        and (_told(known.data), known.note) == (_told(data), happening.note)
    )
    if not same:
        raise another_event(happening.event_id)


def _told(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name not in LOOKED_UP}


def another_event(event_id: UUID) -> Conflict:
    """Return the refusal of an id that was used for something else."""
    mend = "Make a new UUID for each thing that happened."
    return Conflict(
        "Something else was recorded under this id.",
        [Fault("id", str(event_id), "belongs to another event", mend)],
    )


def _target(log: Sequence[DrumEvent], happening: Happening) -> DrumEvent | None:
    """Return the event that a correction is about, as recorded; None for any other kind."""
    if happening.kind is not EventKind.CORRECTED:
        return None
    wanted = UUID(str(happening.data["event"]))
    for event in log:
        if event.id == wanted and event.kind is not EventKind.CORRECTED:
            return event
    mend = "Give the id of an event of this drum, as its history lists them."
    raise Invalid(
        "There is no such event to correct.",
        [Fault("event", str(wanted), "is no event of this drum", mend)],
    )


def _as_believed(target: DrumEvent, believed: Sequence[DrumEvent]) -> DrumEvent:
    """Return an event as earlier corrections left it."""
    for event in believed:
        if event.id == target.id:
            return event
    mend = "Record anew what really happened."
    raise Conflict(
        "That event was withdrawn.",
        [Fault("event", str(target.id), "was withdrawn by an earlier correction", mend)],
    )


def _check_times(happening: Happening, *, data: Mapping[str, Any], now: datetime) -> None:
    """Refuse times that cannot be: ahead or too old, and for a wish one that has passed."""
    if happening.kind is EventKind.WANTED:
        _check_wish(data, now=now, field="at")
        return
    check_time(happening.at, now=now)
    if happening.kind is EventKind.CORRECTED:
        if data.get("at") is not None:
            check_time(datetime.fromisoformat(data["at"]), now=now, field="new_at")
        _check_wish(data.get("data") or {}, now=now, field="new_at")


def _check_wish(data: Mapping[str, Any], *, now: datetime, field: str) -> None:
    wanted_at = data.get("wanted_at")
    if wanted_at is not None and datetime.fromisoformat(wanted_at) <= now:
        mend = f"Give a time to come, after {now:%Y-%m-%dT%H:%M:%SZ}."
        raise Invalid("That time has passed.", [Fault(field, wanted_at, "is over", mend)])


@contextmanager
def _places_by_reference(tx: Tx) -> Iterator[None]:
    """Have faults tell places as people write them; the log keeps ids."""
    try:
        yield
    except DrumkeepError as error:
        ids = [fault.value for fault in error.faults if isinstance(fault.value, int)]
        names = catalogue.place_references(tx, ids=ids)
        error.faults = tuple(
            replace(fault, value=names.get(fault.value))
            if fault.field == "to" and isinstance(fault.value, int)
            else fault
            for fault in error.faults
        )
        raise


def refuse_unless_may(
    by: By, kind: EventKind, *, target: DrumEvent | None = None, now: datetime | None = None
) -> None:
    """Refuse whom the role does not let record such an event, or correct this one."""
    if target is not None and now is not None:
        own = by.account_id is not None and target.by == by.account_id
        action = correction_action(own=own, age=now - target.recorded_at)
    else:
        action = event_action(kind)
    if not may(by.role, action):
        raise Refused(f"The role {by.role} may not {action}.")


def _changed_since(
    event: DrumEvent, *, target: DrumEvent | None, before: Sequence[DrumEvent]
) -> int:
    """Return from when (epoch ms) the drum's past is another one."""
    receipt = before[0]
    times = [event.at]
    if target is not None:
        times = [target.at]
        if event.data.get("at") is not None:
            times.append(datetime.fromisoformat(str(event.data["at"])))
    measuring = event.kind in MEASURING or (target is not None and target.kind in MEASURING)
    first = first_measurement(before, receipt=receipt)
    if measuring and (first is None or event.at <= first.at or target is not None):
        # it may set the starting state, back to the receipt
        times.append(receipt.at)
    if target is not None and target.kind is EventKind.RECEIVED:
        times.append(receipt.at - timedelta(minutes=5))
    return min(to_ms(moment) for moment in times)


def origin_stay(tx: Tx, *, drum: Drum, facts: DrumFacts) -> Stay:
    """Mark the air that set a drum's start, so that late readings of it reach the drum."""
    place = facts.origin
    if place is None:  # else no places need be read: the drum says itself where it came from
        place = origin_of(read_premises(tx, around=[facts.stays[0].place]), facts)
    return Stay(
        drum_id=drum.id,
        place_id=place,
        since=facts.received_at - timedelta(hours=START_HOURS),
        until=facts.received_at,
        origin=True,
    )
