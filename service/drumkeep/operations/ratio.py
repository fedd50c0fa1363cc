"""The ratio pulses at the gun: both drums of the set are put up to be looked at again."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final
from uuid import UUID, uuid5

from drumkeep.domain.events import DrumEvent
from drumkeep.domain.products import Side
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.drum_facts import facts_of_all
from drumkeep.operations.pours import Twin, other_drum
from drumkeep.storage import drums as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

TWIN: Final = "ratio"
"""Makes the UUID of the other drum's event from that of the recorded one."""


def pulsing(tx: Tx, *, drum: Drum, event: DrumEvent) -> tuple[DrumEvent, Twin | None]:
    """Return the event with the other drum of the set in it, and that drum's own event.

    Without a tag it is the one drum of the other side that stands open in the same place; where
    there is none, or more than one, only this drum is put up.

    Raises
    ------
    Invalid
        The other drum is not known, or of the same side.
    """
    tag = event.data.get("with")
    if tag is None:
        other = open_one(tx, beside=other_side_beside(tx, drum=drum))
    else:
        other = other_drum(tx, tag=str(tag), field="with")
    if other is None:
        return event, None
    sides = [_side(tx, one) for one in (drum, other)]
    if sides[0] is sides[1]:
        mend = "Name the drum of the other side that fed the gun."
        problem = f"holds {sides[1].value} too"
        raise Invalid("That is no set.", [Fault("with", other.tag, problem, mend)])
    twin = replace(
        event,
        id=uuid5(event.id, TWIN),
        data={"with": drum.tag, "told_by": str(event.id)},
    )
    return replace(event, data={**event.data, "with": other.tag}), Twin(drum=other, event=twin)


def corrected_pulsing(tx: Tx, *, event: DrumEvent, target: DrumEvent) -> Twin | None:
    """Return the same correction of the other drum's event; None where that has none.

    Raises
    ------
    Invalid
        It would name another drum.
    """
    changes = dict(event.data.get("data") or {})
    if "with" in changes:
        mend = "Withdraw this one with void, and record it anew."
        fault = Fault("with", changes["with"], "cannot change", mend)
        raise Invalid("Which drum it was cannot change.", [fault])
    told_by = target.data.get("told_by")
    known = rows.event_by_id(
        tx, event_id=uuid5(target.id, TWIN) if told_by is None else UUID(str(told_by))
    )
    if known is None:
        return None
    other = rows.drums_by_id(tx, ids=[known.drum_id])[known.drum_id]
    data = {**event.data, "event": str(known.id)}
    return Twin(drum=other, event=replace(event, id=uuid5(event.id, TWIN), data=data))


def other_side_beside(tx: Tx, *, drum: Drum) -> list[StockRow]:
    """Return the drums of the other side that stand in the same place."""
    other = Side.RESIN if _side(tx, drum) is Side.ISO else Side.ISO
    return rows.list_drums(tx, side=other, place_ids=[drum.place_id])


def open_one(tx: Tx, *, beside: Sequence[StockRow]) -> Drum | None:
    """Return the one of these drums that stands open, if it is one."""
    facts = facts_of_all(tx, rows=beside)
    found = [row.drum for row in beside if facts[row.drum.id].open]
    return found[0] if len(found) == 1 else None


def _side(tx: Tx, drum: Drum) -> Side:
    return Side(rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1].side)
