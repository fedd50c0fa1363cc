"""A pour stands in the logs of both drums: drawn from one, taken by the other, recorded at once.

Whichever of the two a person records or corrects, the other follows. A is never poured into B.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from uuid import UUID, uuid5

from drumkeep.domain.drums import fold
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.liquid_pours import pour_id
from drumkeep.domain.products import Side
from drumkeep.errors import DrumkeepError, Fault, Invalid
from drumkeep.storage import drums as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Product as ProductRow
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

POURING: Final = frozenset({EventKind.TOPPED, EventKind.DECANTED})

LOOKED_UP: Final = frozenset({"mixed_with", "was_held", "with"})
"""Fields that nobody need tell: what else is in a drum that was topped up, what its donor was held
for; the other drum of a set."""

_NAMES_OTHER: Final = {EventKind.TOPPED: "from", EventKind.DECANTED: "to"}
_PARTNER: Final = {EventKind.TOPPED: EventKind.DECANTED, EventKind.DECANTED: EventKind.TOPPED}
TWIN: Final = "pour"
"""Makes the UUID of the other drum's event from that of the recorded one."""


@dataclass(frozen=True)
class Twin:
    """The other drum of a pour, and the event that it is given."""

    drum: Drum
    event: DrumEvent


def pour_of(
    tx: Tx, *, drum: Drum, event: DrumEvent, target: DrumEvent | None
) -> tuple[DrumEvent, Twin | None]:
    """Return an event about to be recorded with what a pour looks up, and its twin.

    Parameters
    ----------
    tx
        Any transaction.
    drum, event
        What is recorded of which drum.
    target
        The event that a correction is about, as it is believed; None for any other kind.

    Raises
    ------
    Invalid
        The other drum is not known, or holds the other side.
    """
    if event.kind in POURING:
        return _poured(tx, drum=drum, event=event)
    if target is not None and target.kind in POURING:
        return event, _corrected(tx, event=event, target=target)
    return event, None


@contextmanager
def told_of(tag: str) -> Iterator[None]:
    """Have faults say that it is the other drum that does not allow a pour."""
    try:
        yield
    except DrumkeepError as error:
        error.faults = tuple(
            replace(fault, problem=f"on drum {tag}: {fault.problem}") for fault in error.faults
        )
        raise


def other_drum(tx: Tx, *, tag: str, field: str) -> Drum:
    """Return the other drum of two; raises Invalid where none bears the tag."""
    other = rows.drum_by_tag(tx, tag=tag)
    if other is None:
        mend = "Write the tag as it stands on a drum that has been received."
        raise Invalid("No drum bears this tag.", [Fault(field, tag, "is not known", mend)])
    return other


def _poured(tx: Tx, *, drum: Drum, event: DrumEvent) -> tuple[DrumEvent, Twin]:
    name = _NAMES_OTHER[event.kind]
    tag = str(event.data[name])
    other = other_drum(tx, tag=tag, field=name)
    products = {d.id: _product(tx, d) for d in (drum, other)}
    _refuse_other_side(name, other=other, here=products[drum.id], there=products[other.id])
    topped = event.kind is EventKind.TOPPED
    donor, receiver = (other, drum) if topped else (drum, other)
    found: dict[str, str] = {}
    if products[donor.id].id != products[receiver.id].id:
        found["mixed_with"] = products[donor.id].code
    held = _held_for(tx, donor, at=event.at)
    if held is not None:
        found["was_held"] = held
    kind = _PARTNER[event.kind]
    twin = DrumEvent(
        id=uuid5(event.id, TWIN),
        kind=kind,
        at=event.at,
        recorded_at=event.recorded_at,
        data={
            "kg": event.data["kg"],
            _NAMES_OTHER[kind]: drum.tag,
            "pour": str(event.id),
            **({} if topped else found),
        },
        by=event.by,
        note=event.note,
    )
    if topped:
        event = replace(event, data={**event.data, **found})
    return event, Twin(drum=other, event=twin)


def _corrected(tx: Tx, *, event: DrumEvent, target: DrumEvent) -> Twin | None:
    """Return the same correction of the other drum's event; None where that has none."""
    name = _NAMES_OTHER[target.kind]
    changes = dict(event.data.get("data") or {})
    if name in changes and changes[name] != target.data[name]:
        mend = "Withdraw this one with void, and record the pour anew."
        problem = f"is another drum than {target.data[name]}"
        raise Invalid(
            "Which drum it was cannot change.", [Fault(name, changes[name], problem, mend)]
        )
    mine = pour_id(target)
    known = rows.event_by_id(tx, event_id=uuid5(mine, TWIN) if mine == target.id else mine)
    if known is None:
        return None
    changes.pop(name, None)
    data = {**event.data, "event": str(known.id)}
    if "data" in data:
        data["data"] = changes
    other = rows.drums_by_id(tx, ids=[known.drum_id])[known.drum_id]
    return Twin(drum=other, event=replace(event, id=uuid5(event.id, TWIN), data=data))


def _refuse_other_side(name: str, *, other: Drum, here: ProductRow, there: ProductRow) -> None:
    if here.side == there.side:
        return
    a, b = (f"{side} ({side.letter})" for side in (Side(here.side), Side(there.side)))
    raise Invalid(
        "NEVER pour A into B: they react, foam up and may burst the drum.",
        [
            Fault(
                name,
                other.tag,
                f"holds {b} and this drum {a}",
                "Read both labels again. If it was poured, close nothing, step away, call the "
                "manager, and follow the safety data sheets.",
            )
        ],
    )


def _product(tx: Tx, drum: Drum) -> ProductRow:
    return rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1]


def _held_for(tx: Tx, drum: Drum, *, at: datetime) -> str | None:
    """Return why a drum was on hold at a time."""
    log = rows.events_of(tx, drum_ids=[drum.id])[drum.id]
    events = [event for event in effective(log) if event.at <= at]
    if not events:
        return None
    hold = fold(events, product=as_product(_product(tx, drum))).hold
    return None if hold is None else hold.reason


def corrected_event(believed: Sequence[DrumEvent], event: DrumEvent) -> DrumEvent | None:
    """Return the event that a correction is about, as it is believed; None for any other kind."""
    if event.kind is not EventKind.CORRECTED:
        return None
    wanted = UUID(str(event.data["event"]))
    return next((known for known in believed if known.id == wanted), None)
