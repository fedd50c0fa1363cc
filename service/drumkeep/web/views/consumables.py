"""Consumables as their page shows them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import uuid4

from drumkeep.domain.consumables import Deed
from drumkeep.operations.consumables import KeptConsumable, kept_consumables
from drumkeep.operations.ground import Premises
from drumkeep.storage import consumables as rows
from drumkeep.storage.tables.consumables import ConsumableEntry
from drumkeep.storage.transaction import Tx
from drumkeep.web.view_models import LowView

KINDS: Final = {
    "nitrogen": "nitrogen",
    "desiccant": "desiccant",
    "pump_lubricant": "pump lubricant",
    "other": "something else",
}
_DEEDS: Final = {
    Deed.TOOK: "took {quantity}: {in_hand} in hand",
    Deed.ADDED: "added {quantity}: {in_hand} in hand",
    Deed.COUNTED: "counted {quantity}: {in_hand} in hand",
}
_LAST: Final = 5
_ABBREVIATED: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryView:
    """One entry in words."""

    words: str
    at: datetime
    by: str
    note: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsumableView:
    """One of them; ``hand`` and ``minimum`` with their unit, ``last`` its last entries.

    ``entry_id`` is for the next one.
    """

    id: int
    entry_id: str
    name: str
    kind: str
    kind_words: str
    place: str
    site: str
    unit: str
    hand: str | None
    minimum: str | None
    least: str
    low: bool
    timezone: str
    last: tuple[EntryView, ...]


def consumable_views(tx: Tx, *, premises: Premises) -> tuple[ConsumableView, ...]:
    """Return what is kept, what is under its minimum first."""
    kept = sorted(kept_consumables(tx), key=lambda one: not one.low)
    return tuple(
        _view(one, premises=premises, last=rows.entries(tx, consumable_id=one.row.id, limit=_LAST))
        for one in kept
    )


def low_views(tx: Tx) -> tuple[LowView, ...]:
    """Return what is under its minimum."""
    return tuple(
        LowView(
            name=one.row.name,
            place=one.place.name,
            hand=None if one.in_hand is None else _amount(one.in_hand, one.row.unit),
            minimum=_amount(one.row.minimum or 0.0, one.row.unit),
        )
        for one in kept_consumables(tx)
        if one.low
    )


def _amount(quantity: float, unit: str) -> str:
    """Write how much there is; of one the unit is left out where people wrote it in the plural.

    In English and in Spanish that ends in an s: neither "1 bottles" nor "1 botellas" is said.
    """
    if quantity == 1.0 and len(unit) > _ABBREVIATED and unit.endswith("s"):
        return "1"
    return f"{quantity:g} {unit}"


def _view(
    one: KeptConsumable, *, premises: Premises, last: Sequence[ConsumableEntry]
) -> ConsumableView:
    site = premises.sites[one.place.site_id]
    unit = one.row.unit
    return ConsumableView(
        id=one.row.id,
        entry_id=str(uuid4()),
        name=one.row.name,
        kind=one.row.kind,
        kind_words=KINDS[one.row.kind],
        place=one.place.name,
        site=site.name,
        unit=unit,
        hand=None if one.in_hand is None else _amount(one.in_hand, unit),
        minimum=None if one.row.minimum is None else _amount(one.row.minimum, unit),
        least="" if one.row.minimum is None else f"{one.row.minimum:g}",
        low=one.low,
        timezone=site.timezone,
        last=tuple(
            EntryView(
                words=_DEEDS[Deed(entry.deed)].format(
                    quantity=_amount(entry.quantity, unit), in_hand=_amount(entry.in_hand, unit)
                ),
                at=entry.at,
                by=entry.by,
                note=entry.note,
            )
            for entry in last
        ),
    )
