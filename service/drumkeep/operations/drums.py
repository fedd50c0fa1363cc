"""Receive drums and record what happens to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import SystemRandom
from typing import Any, Final
from uuid import UUID

from drumkeep.domain import tags
from drumkeep.domain.drums import DrumFacts, check_time, fold
from drumkeep.domain.events import MEASURING, DrumEvent, EventKind, effective
from drumkeep.domain.grid import to_ms
from drumkeep.domain.liquid import first_measurement
from drumkeep.domain.products import Product
from drumkeep.domain.roles import Role, correction_action, event_action, may
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused, faults_within
from drumkeep.operations.estimates import START_HOURS, origin_of, refresh_drums
from drumkeep.operations.lots import lot_named
from drumkeep.operations.products import product_named
from drumkeep.operations.surroundings import Ground, read_ground
from drumkeep.storage import drums as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event, Stay
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.constants import DRUM_STEEL_KG

_TRIES: Final = 20


@dataclass(frozen=True)
class By:
    """Who records: the account (None for a token), the name that is kept, and the role."""

    name: str
    role: Role
    account_id: int | None = None


@dataclass(frozen=True)
class Receipt:
    """A drum that arrived; ``place`` and ``origin`` are ids, ``event_id`` the client's UUID.

    ``where`` is its number in a list of several, for faults.
    """

    event_id: UUID
    product: str
    lot: str
    place: int
    at: datetime
    tag: str | None = None
    origin: int | None = None
    net_kg: float | None = None
    liquid_c: float | None = None
    share: float = 1.0
    tare_kg: float = DRUM_STEEL_KG
    note: str | None = None
    where: str = ""

    def data(self) -> dict[str, Any]:
        """Return what its event keeps of it."""
        return _without_none(
            {
                "place": self.place,
                "from": self.origin,
                "net_kg": self.net_kg,
                "liquid_c": self.liquid_c,
            }
        )


@dataclass(frozen=True)
class Happening:
    """An event to record: its kind's own fields in ``data``, places as ids."""

    event_id: UUID
    kind: EventKind
    at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)
    note: str | None = None


def receive_drums(tx: Tx, *, receipts: Sequence[Receipt], by: By, now: datetime) -> list[Drum]:
    """Receive drums: all of them, or on any fault none.

    A receipt whose UUID is known already gives the drum it made then: phones retry.

    Raises
    ------
    Invalid, Conflict
        Naming the receipt by its place in the list and the field.
    Refused
        The role may not record.
    """
    _refuse_unless_may(by, EventKind.RECEIVED)
    _refuse_twins(receipts)
    made: list[Drum] = []
    fresh: list[int] = []
    ground = read_ground(tx)
    for receipt in receipts:
        with faults_within(receipt.where):
            known = rows.event_by_id(tx, event_id=receipt.event_id)
            if known is not None:
                made.append(_received_before(tx, known, receipt))
                continue
            drum = _receive(tx, receipt, by=by, now=now, ground=ground)
        made.append(drum)
        fresh.append(drum.id)
    refresh_drums(tx, since=dict.fromkeys(fresh, 0), now=now)
    return made


def _receive(tx: Tx, receipt: Receipt, *, by: By, now: datetime, ground: Ground) -> Drum:
    check_time(receipt.at, now=now)
    product = product_named(tx, code=receipt.product)
    lot = lot_named(tx, product=receipt.product, code=receipt.lot)
    event = DrumEvent(
        id=receipt.event_id,
        kind=EventKind.RECEIVED,
        at=receipt.at,
        recorded_at=now,
        data=receipt.data(),
        by=by.account_id,
        note=receipt.note,
    )
    facts = fold([event], product=as_product(product))
    drum = Drum(
        tag=_tag(tx, receipt.tag),
        lot_id=lot.id,
        created_at=now,
        share=receipt.share,
        tare_kg=receipt.tare_kg,
        place_id=facts.place,
        received_at=facts.received_at,
        net_kg=facts.net_kg,
        from_ms=to_ms(receipt.at),
    )
    tx.session.add(drum)
    tx.session.flush()  # the id, for its event and stays
    _log(tx, drum=drum, event=event, by=by)
    rows.project(tx, drum=drum, facts=facts, origin=_origin(ground, drum, facts))
    return drum


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
    drum = drum_tagged(tx, tag=tag)
    known = rows.event_by_id(tx, event_id=happening.event_id)
    if known is not None:
        _refuse_another(known, happening, drum=drum)
        return drum, known
    if happening.kind is EventKind.RECEIVED:
        raise Conflict(
            "The drum is here already.",
            [Fault("kind", "received", "of a drum that has a tag", "Post new drums to /drums.")],
        )
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    before = effective(log)
    product = _product(tx, drum)
    target = _target(log, happening, believed=before)
    _refuse_unless_may(by, happening.kind, target=target, now=now)
    at = now if happening.kind is EventKind.WANTED else happening.at
    check_time(at, now=now)
    event = DrumEvent(
        id=happening.event_id,
        kind=happening.kind,
        at=at,
        recorded_at=now,
        data=_data(happening, drum=drum, target=target),
        by=by.account_id,
        note=happening.note,
    )
    believed = effective([*log, event])
    facts = fold(believed, product=product)
    row = _log(tx, drum=drum, event=event, by=by)
    ground = read_ground(tx)
    rows.project(tx, drum=drum, facts=facts, origin=_origin(ground, drum, facts))
    since = _changed_since(event, target=target, before=before)
    drum.from_ms = since if drum.from_ms is None else min(drum.from_ms, since)
    tx.session.flush()
    refresh_drums(tx, since={drum.id: drum.from_ms}, now=now)
    return drum, row


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


def facts_of(tx: Tx, *, drum: Drum) -> DrumFacts:
    """Return what is true of a drum by what people recorded."""
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    return fold(effective(log), product=_product(tx, drum))


def _product(tx: Tx, drum: Drum) -> Product:
    return as_product(rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1])


def _log(tx: Tx, *, drum: Drum, event: DrumEvent, by: By) -> Event:
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


def _tag(tx: Tx, wanted: str | None) -> str:
    if wanted is not None:
        tag = tags.parse(wanted)
        if rows.drum_by_tag(tx, tag=tag) is not None:
            mend = "Read the label again, or leave the tag out to be given a new one."
            raise Conflict("Another drum bears this tag.", [Fault("tag", tag, "is taken", mend)])
        return tag
    random = SystemRandom()
    for _ in range(_TRIES):
        tag = tags.make(random)
        if rows.drum_by_tag(tx, tag=tag) is None:
            return tag
    raise Conflict("No free tag was found; try again.")


def _received_before(tx: Tx, known: Event, receipt: Receipt) -> Drum:
    drum = rows.drums_by_id(tx, ids=[known.drum_id])[known.drum_id]
    lot, product = rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id]
    same = (
        known.kind == EventKind.RECEIVED
        and (known.at, known.data, known.note) == (receipt.at, receipt.data(), receipt.note)
        and (product.code, lot.code) == (receipt.product, receipt.lot)
        and (drum.share, drum.tare_kg) == (receipt.share, receipt.tare_kg)
        and (receipt.tag is None or tags.parse(receipt.tag) == drum.tag)
    )
    if not same:
        raise _another(receipt.event_id)
    return drum


def _refuse_twins(receipts: Sequence[Receipt]) -> None:
    seen: dict[str, str] = {}
    for receipt in receipts:
        for name, value in (("id", str(receipt.event_id)), ("tag", receipt.tag)):
            if value is None:
                continue
            key = f"{name} {value.upper().replace('-', '').replace(' ', '')}"
            if key in seen:
                problem = f"stands in item {seen[key]} already"
                mend = "Give each drum its own, or leave the tag out."
                raise Conflict(
                    "Two drums of the list are alike.",
                    [Fault(f"{receipt.where}.{name}", value, problem, mend)],
                )
            seen[key] = receipt.where


def _refuse_another(known: Event, happening: Happening, *, drum: Drum) -> None:
    same = (
        known.drum_id == drum.id
        and known.kind == happening.kind.value
        and (known.kind == EventKind.WANTED or known.at == happening.at)
        and known.note == happening.note
        and _sent(known.data) == _sent(_data(happening, drum=drum))
    )
    if not same:
        raise _another(happening.event_id)


def _another(event_id: UUID) -> Conflict:
    mend = "Make a new UUID for each thing that happened."
    return Conflict(
        "Something else was recorded under this id.",
        [Fault("id", str(event_id), "belongs to another event", mend)],
    )


def _target(
    log: Sequence[DrumEvent], happening: Happening, *, believed: Sequence[DrumEvent]
) -> DrumEvent | None:
    """Return the event that a correction is about, as believed so far; None for any other kind."""
    if happening.kind is not EventKind.CORRECTED:
        return None
    wanted = UUID(str(happening.data["event"]))
    for event in believed:
        if event.id == wanted:
            return event
    if any(event.id == wanted and event.kind is not EventKind.CORRECTED for event in log):
        mend = "Record anew what really happened."
        raise Conflict(
            "That event was withdrawn.",
            [Fault("event", str(wanted), "was withdrawn by an earlier correction", mend)],
        )
    mend = "Give the id of an event of this drum, as its history lists them."
    raise Invalid(
        "There is no such event to correct.",
        [Fault("event", str(wanted), "is no event of this drum", mend)],
    )


def _refuse_unless_may(
    by: By, kind: EventKind, *, target: DrumEvent | None = None, now: datetime | None = None
) -> None:
    if target is not None and now is not None:
        own = by.account_id is not None and target.by == by.account_id
        action = correction_action(own=own, age=now - target.recorded_at)
    else:
        action = event_action(kind)
    if not may(by.role, action):
        raise Refused(f"The role {by.role} may not {action}.")


def _data(happening: Happening, *, drum: Drum, target: DrumEvent | None = None) -> dict[str, Any]:
    data = _without_none(happening.data)
    if happening.kind is EventKind.WEIGHED:
        data = _weighed(data, drum=drum)
    elif target is not None and target.kind is EventKind.WEIGHED and data.get("data"):
        data["data"] = _weighed(data["data"], drum=drum)
    elif happening.kind is EventKind.WANTED:
        data["wanted_at"] = None if data.pop("withdrawn", False) else happening.at.isoformat()
    return data


def _sent(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a client sent of an event, without what was worked out from it."""
    inner = data.get("data")
    if isinstance(inner, Mapping):
        return {**data, "data": _sent(inner)}
    return {n: v for n, v in data.items() if n != "net_kg" or "gross_kg" not in data}


def _weighed(data: Mapping[str, Any], *, drum: Drum) -> dict[str, Any]:
    """Take the drum itself off a gross weight."""
    if "gross_kg" not in data:
        return dict(data)
    gross = float(data["gross_kg"])
    if gross < drum.tare_kg:
        mend = f"Give at least the {drum.tare_kg:.1f} kg of the empty drum, or net_kg."
        raise Invalid(
            "That is less than the empty drum.",
            [Fault("gross_kg", gross, "is less than the drum's tare", mend)],
        )
    return {**data, "net_kg": round(gross - drum.tare_kg, 6)}


def _without_none(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if value is not None}


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


def _origin(ground: Ground, drum: Drum, facts: DrumFacts) -> Stay | None:
    """Mark the air that set a drum's start, so that late readings of it reach the drum."""
    place = origin_of(ground, facts)
    if place is None:
        return None
    return Stay(
        drum_id=drum.id,
        place_id=place,
        since=facts.received_at - timedelta(hours=START_HOURS),
        until=facts.received_at,
        origin=True,
    )
