"""``/consumables``: what rigs and sheds use up beside the drums."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.schemas.consumables import (
    ConsumableIn,
    ConsumableOut,
    ConsumablePatch,
    EntryIn,
    EntryOut,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action
from drumkeep.operations import consumables
from drumkeep.storage import catalogue
from drumkeep.storage.tables.consumables import ConsumableEntry
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/consumables", tags=["consumables"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]
KeeperDep = Annotated[Caller, Depends(require(Action.KEEP_STOCK))]


@router.get("")
def list_consumables(tx: ReadingDep) -> PageOf[ConsumableOut]:
    """List what is kept, with how much is in hand; a company keeps some dozens."""
    return PageOf(items=_out(tx))


@router.post("", status_code=201, dependencies=_CHANGE)
def keep(tx: TransactionDep, body: ConsumableIn, response: Response) -> ConsumableOut:
    """Begin to keep something in a place."""
    row = consumables.keep_consumable(tx, **body.model_dump())
    located(response, "consumables", row.id)
    return _one(tx, row.id)


@router.get("/{consumable_id}")
def get_consumable(tx: ReadingDep, consumable_id: RowId) -> ConsumableOut:
    """Get one of them."""
    return _one(tx, consumable_id)


@router.patch("/{consumable_id}", dependencies=_CHANGE)
def change(
    tx: TransactionDep, consumable_id: RowId, body: ConsumablePatch, now: Now
) -> ConsumableOut:
    """Change its name or minimum, or drop it."""
    consumables.change_consumable(tx, consumable_id=consumable_id, changes=body.changes(), now=now)
    return _one(tx, consumable_id)


@router.get("/{consumable_id}/entries")
def list_entries(tx: ReadingDep, consumable_id: RowId) -> PageOf[EntryOut]:
    """List the last entries of one, the latest first."""
    found = consumables.entries_of(tx, consumable_id=consumable_id)
    return PageOf(items=[_entry_out(entry) for entry in found])


@router.post("/{consumable_id}/entries", status_code=201)
def enter(
    tx: TransactionDep, consumable_id: RowId, body: EntryIn, caller: KeeperDep, now: Now
) -> EntryOut:
    """Record that somebody took, added or counted."""
    entry = consumables.record_entry(
        tx,
        consumable_id=consumable_id,
        entry_id=body.id,
        deed=body.deed,
        quantity=body.quantity,
        at=body.at or now,
        note=body.note,
        by=by_caller(caller),
        now=now,
    )
    return _entry_out(entry)


def _one(tx: Tx, consumable_id: int) -> ConsumableOut:
    row = consumables.consumable_at(tx, consumable_id=consumable_id)
    last = consumables.entries_of(tx, consumable_id=row.id, limit=1)
    place = catalogue.places_by_id(tx, ids=[row.place_id])[row.place_id]
    return _kept_out(
        tx, [consumables.KeptConsumable(row=row, place=place, last=last[0] if last else None)]
    )[0]


def _out(tx: Tx) -> list[ConsumableOut]:
    return _kept_out(tx, consumables.kept_consumables(tx))


def _kept_out(tx: Tx, kept: Sequence[consumables.KeptConsumable]) -> list[ConsumableOut]:
    places = catalogue.place_references(tx, ids=[one.place.id for one in kept])
    return [
        ConsumableOut(
            id=one.row.id,
            place=places[one.place.id],
            kind=one.row.kind,
            name=one.row.name,
            unit=one.row.unit,
            minimum=one.row.minimum,
            in_hand=one.in_hand,
            low=one.low,
            last_at=None if one.last is None else one.last.at,
            last_by=None if one.last is None else one.last.by,
        )
        for one in kept
    ]


def _entry_out(entry: ConsumableEntry) -> EntryOut:
    return EntryOut(
        id=entry.id,
        deed=entry.deed,
        quantity=entry.quantity,
        in_hand=entry.in_hand,
        at=entry.at,
        by=entry.by,
        note=entry.note,
    )
