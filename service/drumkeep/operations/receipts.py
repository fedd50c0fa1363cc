"""Receive drums: each gets a tag, its first event and its first computed state."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from random import SystemRandom
from typing import Any, Final
from uuid import UUID

from drumkeep.domain import tags
from drumkeep.domain.drum_temperatures import refuse_impossible
from drumkeep.domain.drums import check_time, fold
from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.grid import to_ms
from drumkeep.errors import Conflict, Fault, faults_within
from drumkeep.operations.drums import (
    By,
    another_event,
    log_event,
    origin_stay,
    refuse_unless_may,
)
from drumkeep.operations.lots import lot_named
from drumkeep.operations.products import product_named
from drumkeep.operations.refresh import refresh_drums
from drumkeep.storage import drums as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.constants import DRUM_STEEL_KG

_TRIES: Final = 20


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
    made_on: date | None = None
    share: float = 1.0
    tare_kg: float = DRUM_STEEL_KG
    un_mark: str | None = None
    note: str | None = None
    where: str = ""

    def data(self) -> dict[str, Any]:
        """Return what its event keeps of it."""
        told = {
            "place": self.place,
            "from": self.origin,
            "net_kg": self.net_kg,
            "liquid_c": self.liquid_c,
            "made_on": None if self.made_on is None else self.made_on.isoformat(),
            "un_mark": self.un_mark,
        }
        return {name: value for name, value in told.items() if value is not None}


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
    made, fresh = log_receipts(tx, receipts=receipts, by=by, now=now)
    refresh_drums(tx, since=dict.fromkeys(fresh, 0), now=now)
    return made


def log_receipts(
    tx: Tx, *, receipts: Sequence[Receipt], by: By, now: datetime
) -> tuple[list[Drum], list[int]]:
    """Do the same as :func:`receive_drums` and leave the computing to others.

    Returns
    -------
    tuple
        The drums, and the ids of those that came now and are to be computed from their receipt.
    """
    refuse_unless_may(by, EventKind.RECEIVED)
    _refuse_twins(receipts)
    made: list[Drum] = []
    fresh: list[int] = []
    for receipt in receipts:
        with faults_within(receipt.where):
            known = rows.event_by_id(tx, event_id=receipt.event_id)
            if known is not None:
                made.append(_received_before(tx, known, receipt))
                continue
            drum = _receive(tx, receipt, by=by, now=now)
        made.append(drum)
        fresh.append(drum.id)
    return made, fresh


def _receive(tx: Tx, receipt: Receipt, *, by: By, now: datetime) -> Drum:
    check_time(receipt.at, now=now)
    refuse_impossible(receipt.liquid_c, field="liquid_c")
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
        un_mark=facts.un_mark.text if facts.un_mark is not None else None,
        from_ms=to_ms(receipt.at),
    )
    tx.session.add(drum)
    tx.session.flush()  # the id, for its event and stays
    log_event(tx, drum=drum, event=event, by=by)
    rows.project(tx, drum=drum, facts=facts, origin=origin_stay(tx, drum=drum, facts=facts))
    return drum


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
        raise another_event(receipt.event_id)
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
