"""Keep what rigs and sheds use up beside the drums: take, add, count."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypedDict
from uuid import UUID

from drumkeep.domain.checks import Checks
from drumkeep.domain.consumables import MOST, ConsumableKind, Deed, in_hand_after, is_low
from drumkeep.domain.drums import check_time
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.operations.drums import By
from drumkeep.operations.places import place_named
from drumkeep.storage import catalogue
from drumkeep.storage import consumables as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.consumables import Consumable, ConsumableEntry
from drumkeep.storage.transaction import Tx

_UNIT_LENGTH: Final = 16
ENTRIES_SHOWN: Final = 50


class ConsumableChanges(TypedDict, total=False):
    """What may change; its place, kind and unit stay, for its entries are in them."""

    name: str
    minimum: float | None
    dropped: bool


@dataclass(frozen=True, slots=True)
class KeptConsumable:
    """One of them with its place and its last entry."""

    row: Consumable
    place: Place
    last: ConsumableEntry | None

    @property
    def in_hand(self) -> float | None:
        """How much is there; None before anybody counted."""
        return None if self.last is None else self.last.in_hand

    @property
    def low(self) -> bool:
        """Whether less is there than should be."""
        return is_low(self.in_hand, minimum=self.row.minimum)


def kept_consumables(tx: Tx) -> list[KeptConsumable]:
    """Return what is kept, by place, with how much is in hand."""
    found = rows.kept(tx)
    places = catalogue.places_by_id(tx, ids=[row.place_id for row in found])
    last = rows.last_entries(tx)
    return sorted(
        (KeptConsumable(row, places[row.place_id], last.get(row.id)) for row in found),
        key=lambda one: (one.place.site_id, one.place.name, one.row.name),
    )


def keep_consumable(
    tx: Tx, *, place: str, kind: str, name: str, unit: str, minimum: float | None = None
) -> Consumable:
    """Begin to keep something in a place; what was dropped under the name there is taken up again.

    Raises
    ------
    Invalid
        A value cannot be used.
    Conflict
        It is kept there already.
    """
    where = place_named(tx, reference=place, field="place")
    checks = Checks()
    checks.one_of("kind", kind, ConsumableKind)
    checks.text("unit", unit, longest=_UNIT_LENGTH)
    _check(checks, name=name, minimum=minimum)
    checks.raise_faults("It cannot be kept.")
    known = rows.by_name(tx, place_id=where.id, name=name)
    if known is None:
        made = Consumable(place_id=where.id, kind=kind, name=name, unit=unit, minimum=minimum)
        return add(tx, made)
    if known.dropped_at is None or (known.kind, known.unit) != (kind, unit):
        problem = (
            "is kept there already" if known.dropped_at is None else "was kept there otherwise"
        )
        mend = "Use that one, or give this another name."
        raise Conflict("The name is taken.", [Fault("name", name, problem, mend)])
    known.minimum, known.dropped_at = minimum, None
    return add(tx, known)


def change_consumable(
    tx: Tx, *, consumable_id: int, changes: ConsumableChanges, now: datetime
) -> Consumable:
    """Change name or minimum, or drop it: its entries stay.

    Raises
    ------
    NotFound
        There is no such thing.
    Invalid, Conflict
        A value cannot be used, or the name is taken.
    """
    row = consumable_at(tx, consumable_id=consumable_id)
    name = changes.get("name", row.name)
    minimum = changes.get("minimum", row.minimum)
    checks = Checks()
    _check(checks, name=name, minimum=minimum)
    checks.raise_faults("It cannot be changed.")
    other = rows.by_name(tx, place_id=row.place_id, name=name)
    if other is not None and other.id != row.id:
        fault = Fault("name", name, "is kept there already", "Give another name.")
        raise Conflict("The name is taken.", [fault])
    row.name, row.minimum = name, minimum
    if "dropped" in changes:
        row.dropped_at = now if changes["dropped"] else None
    return add(tx, row)


def record_entry(
    tx: Tx,
    *,
    consumable_id: int,
    entry_id: UUID,
    deed: str,
    quantity: float,
    at: datetime,
    note: str | None = None,
    by: By,
    now: datetime,
) -> ConsumableEntry:
    """Record that somebody took, added or counted; the same id again changes nothing.

    Raises
    ------
    NotFound
        There is no such thing.
    Invalid
        The quantity or the time cannot be.
    Conflict
        The id stands for another entry, or nobody keeps it any more.
    """
    row = consumable_at(tx, consumable_id=consumable_id)
    known = rows.entry_by_id(tx, entry_id=entry_id)
    if known is not None:
        if (known.consumable_id, known.deed, known.quantity) != (row.id, deed, quantity):
            mend = "Make a new UUID for each entry."
            fault = Fault("id", str(entry_id), "belongs to another entry", mend)
            raise Conflict("Something else was recorded under this id.", [fault])
        return known
    if row.dropped_at is not None:
        mend = "Take it up again first."
        raise Conflict("It is not kept any more.", [Fault("id", row.id, "was dropped", mend)])
    checks = Checks()
    did = checks.one_of("deed", deed, Deed)
    checks.raise_faults("The entry cannot be recorded.")
    assert did is not None  # noqa: S101 - else a fault was raised
    check_time(at, now=now)
    last = rows.last_entry(tx, consumable_id=row.id)
    if last is not None and at < last.at:
        mend = f"Give a time after {last.at:%Y-%m-%dT%H:%M:%SZ}, or count what is there now."
        fault = Fault("at", at.isoformat(), "is before the last entry", mend)
        raise Conflict("Something was recorded since.", [fault])
    in_hand = in_hand_after(None if last is None else last.in_hand, deed=did, quantity=quantity)
    return add(
        tx,
        ConsumableEntry(
            id=entry_id,
            consumable_id=row.id,
            deed=did.value,
            quantity=quantity,
            in_hand=in_hand,
            at=at,
            account_id=by.account_id,
            by=by.name,
            note=note,
        ),
    )


def entries_of(
    tx: Tx, *, consumable_id: int, limit: int = ENTRIES_SHOWN
) -> Sequence[ConsumableEntry]:
    """Return what was recorded of one, latest first.

    Raises
    ------
    NotFound
        There is no such thing.
    """
    row = consumable_at(tx, consumable_id=consumable_id)
    return rows.entries(tx, consumable_id=row.id, limit=limit)


def consumable_at(tx: Tx, *, consumable_id: int) -> Consumable:
    """Return the one that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    row = rows.by_id(tx, consumable_id=consumable_id)
    if row is None:
        fault = Fault("id", consumable_id, "is not known", "Take an id from the list.")
        raise NotFound("There is no such consumable.", [fault])
    return row


def _check(checks: Checks, *, name: str, minimum: float | None) -> None:
    checks.text("name", name)
    checks.within("minimum", minimum, low=0.0, high=MOST)
