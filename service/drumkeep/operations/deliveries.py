"""Receive drums that are alike in one go, with what was measured and seen when they came."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Final, Literal
from uuid import UUID, uuid5

from drumkeep.domain.drum_temperatures import refuse_impossible
from drumkeep.domain.drums import check_mass, check_time
from drumkeep.domain.events import EventKind
from drumkeep.domain.products import Side
from drumkeep.domain.quantities import fahrenheit
from drumkeep.domain.supplier_labels import SupplierLabel, read_label
from drumkeep.errors import Fault, Invalid, NotFound, heard
from drumkeep.operations.drums import By, Happening, record_event, refuse_unless_may
from drumkeep.operations.lots import create_lot
from drumkeep.operations.products import product_named
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.operations.supplier_labels import lot_doubts, remember_item
from drumkeep.storage import catalogue, deliveries
from drumkeep.storage import trade_items as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.tables.deliveries import Delivery as Arrived
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx

MOST_ALIKE: Final = 40
"""Drums received in one go: ten pallets."""

_MOMENT: Final = timedelta(seconds=1)

Seen = Literal["none", "seen"]
Ring = Literal["red", "double", "none"]

RINGS: Final[Mapping[Side, Ring]] = {Side.ISO: "red", Side.RESIN: "double"}
"""What is painted round the bung of each side."""

_RINGS: Final[Mapping[Ring, str]] = {
    "red": "a red ring",
    "double": "a double ring",
    "none": "no ring",
}


@dataclass(frozen=True)
class Looks:
    """What was seen of drums that came; None: not looked for. ``damage`` in a person's words."""

    bulge: Seen | None = None
    solids: Seen | None = None
    ring: Ring | None = None
    damage: str = ""


@dataclass(frozen=True)
class Delivery:
    """Drums that are alike and came together; ``id`` is the client's UUID, ``place`` an id.

    ``measured`` says how ``liquid_c`` was: by a dip, or on the skin. It was taken on one drum or
    more and counts for all of them. ``label`` is what was scanned or typed of the supplier's.
    """

    id: UUID
    product: str
    lot: str
    place: int
    at: datetime
    count: int = 1
    made_on: date | None = None
    expires_on: date | None = None
    net_kg: float | None = None
    measured: Literal["dip", "skin"] = "dip"
    liquid_c: float | None = None
    looks: Looks = field(default_factory=Looks)
    gtin: str | None = None
    label: str | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was told of drums that came, as far as it could be read; None: not told.

    ``made_on`` is whether it was.
    """

    product: str | None = None
    lot: str | None = None
    made_on: bool = False
    count: int | None = None
    at: datetime | None = None
    net_kg: float | None = None
    liquid_c: float | None = None


def receive_delivery(tx: Tx, *, delivery: Delivery, by: By, now: datetime) -> list[Drum]:
    """Receive drums that are alike: all of them, or on any fault none.

    A lot that is not on record yet is made; a trade item number is remembered. What is not as it
    should be puts all of them on hold, with the reason. The same UUID again gives the same drums.

    Raises
    ------
    Invalid, Conflict
        Naming the field.
    Refused
        The role may not record.
    """
    refuse_unless_may(by, EventKind.RECEIVED)
    told = Told(
        product=delivery.product,
        lot=delivery.lot,
        made_on=delivery.made_on is not None,
        count=delivery.count,
        at=delivery.at,
        net_kg=delivery.net_kg,
        liquid_c=delivery.liquid_c,
    )
    faults = told_wrong(tx, told, now=now)
    if faults:
        raise Invalid("Those cannot be received.", faults)
    product = product_named(tx, code=delivery.product)
    if delivery.gtin is not None:
        remember_item(tx, gtin=delivery.gtin, product=delivery.product, by=by, now=now)
    label = None if delivery.label is None else read_label(delivery.label)
    lot = _lot(tx, product=product, delivery=delivery, now=now)
    receipts = [
        Receipt(
            event_id=event_id,
            product=product.code,
            lot=lot.code,
            place=delivery.place,
            at=delivery.at,
            net_kg=delivery.net_kg,
            liquid_c=delivery.liquid_c if delivery.measured == "dip" else None,
            made_on=delivery.made_on,
            note=delivery.note,
        )
        for event_id in _ids(delivery.id, count=delivery.count)
    ]
    drums = receive_drums(tx, receipts=receipts, by=by, now=now)
    reasons = hold_reasons(lot, side=Side(product.side), delivery=delivery, label=label)
    if deliveries.by_key(tx, key=delivery.id) is None:
        deliveries.add(
            tx,
            delivery=Arrived(
                key=delivery.id,
                lot_id=lot.id,
                at=delivery.at,
                recorded_at=now,
                account_id=by.account_id,
                by=by.name,
                label={} if label is None else label_record(label, text=delivery.label or ""),
            ),
            drum_ids=[drum.id for drum in drums],
        )
    for drum, receipt in zip(drums, receipts, strict=True):
        for happening in _followed_by(receipt, delivery=delivery, reasons=reasons):
            record_event(tx, tag=drum.tag, happening=happening, by=by, now=now)
    return drums


def told_wrong(tx: Tx, told: Told, *, now: datetime) -> list[Fault]:
    """Return all that is wrong with what was told of drums that came, at once."""
    faults: list[Fault] = []
    if told.count is not None and not 1 <= told.count <= MOST_ALIKE:
        mend = f"Give 1 to {MOST_ALIKE}; receive more in several goes."
        faults.append(Fault("count", told.count, "is too few or too many", mend))
    if told.at is not None:
        with heard(faults):
            check_time(told.at, now=now)
    with heard(faults):
        refuse_impossible(told.liquid_c, field="liquid_c")
    if told.product is None:
        return faults
    with heard(faults):
        product = product_named(tx, code=told.product)
        if told.lot is not None and not told.made_on:
            faults += _made_when(tx, product=product.code, lot=told.lot)
        if told.net_kg is not None:
            check_mass(told.net_kg, product=as_product(product), name="net_kg")
    return faults


def _made_when(tx: Tx, *, product: str, lot: str) -> list[Fault]:
    if catalogue.lot_by_code(tx, product=product, code=lot) is not None:
        return []
    mend = "Give the day as it stands on the supplier's label."
    return [Fault("made_on", None, "is missing, and the lot is new here", mend)]


def hold_reasons(
    lot: Lot, *, side: Side, delivery: Delivery, label: SupplierLabel | None = None
) -> list[str]:
    """Return what is not as it should be with drums that came."""
    looks = delivery.looks
    reasons = []
    if looks.bulge == "seen":
        reasons.append("bulged on arrival")
    if looks.solids == "seen":
        reasons.append("solids seen on arrival")
    if looks.ring is not None and looks.ring != RINGS[side]:
        reasons.append(f"{_RINGS[looks.ring]} at the bung of what came as {side.value}")
    if looks.damage.strip():
        reasons.append(looks.damage.strip())
    if label is not None:
        reasons += _against_label(delivery, label)
    told = SupplierLabel(made_on=delivery.made_on, expires_on=delivery.expires_on)
    reasons += [line.rstrip(".") for line in lot_doubts(lot, label=told)]
    last = delivery.expires_on or lot.expires_on
    if last is not None and last <= delivery.at.date():
        reasons.append(f"expired on {last.isoformat()}")
    return reasons


def _against_label(delivery: Delivery, label: SupplierLabel) -> list[str]:
    """Return in what drums that came are not what their label says."""
    reasons = []
    if label.lot is not None and label.lot != delivery.lot:
        reasons.append(f"its label says lot {label.lot}")
    came, low, high = delivery.liquid_c, label.lowest_c, label.highest_c
    if came is not None and low is not None and came < low:
        reasons.append(f"came at {_degrees(came)}, under the {_degrees(low)} of its label")
    if came is not None and high is not None and came > high:
        reasons.append(f"came at {_degrees(came)}, over the {_degrees(high)} of its label")
    return reasons


def _degrees(celsius: float) -> str:
    """Write a temperature for whoever reads it later, in whichever units."""
    return f"{fahrenheit(celsius):.0f} °F ({celsius:.1f} °C)"


def label_record(label: SupplierLabel, *, text: str) -> dict[str, Any]:
    """Return what is kept of a supplier's label: the text, and what it says in SI and ISO 8601."""
    said = {
        name: value.isoformat() if isinstance(value, date) else value
        for name, value in asdict(label).items()
        if value not in (None, ())
    }
    return {"text": text, **said}


def delivered(tx: Tx, *, delivery_id: UUID) -> list[tuple[Drum, Event]]:
    """Return the drums of a delivery with the events of their receipt.

    Raises
    ------
    NotFound
        There was none.
    """
    found = received_before(tx, delivery_id=delivery_id)
    if not found:
        mend = "Look for the drums on the floor."
        raise NotFound(
            "There is no such receipt.", [Fault("id", str(delivery_id), "is not known", mend)]
        )
    return found


def received_before(tx: Tx, *, delivery_id: UUID) -> list[tuple[Drum, Event]]:
    """Return the drums that this delivery has made so far, none if it is new."""
    return rows.received_under(tx, ids=_ids(delivery_id, count=MOST_ALIKE))


def _lot(tx: Tx, *, product: Product, delivery: Delivery, now: datetime) -> Lot:
    known = catalogue.lot_by_code(tx, product=product.code, code=delivery.lot)
    if known is not None:
        return known
    if delivery.made_on is None:
        raise Invalid("The lot is new.", _made_when(tx, product=product.code, lot=delivery.lot))
    return create_lot(
        tx,
        product=product.code,
        code=delivery.lot,
        made_on=delivery.made_on,
        expires_on=delivery.expires_on,
        now=now,
    )


def _ids(delivery_id: UUID, *, count: int) -> list[UUID]:
    """Return the ids of the receipts of a delivery, in order."""
    return [uuid5(delivery_id, f"drum {number}") for number in range(count)]


def _followed_by(
    receipt: Receipt, *, delivery: Delivery, reasons: Sequence[str]
) -> list[Happening]:
    """Return what is recorded of a drum beside its receipt, each a second after the other."""
    looks = delivery.looks
    told: list[tuple[EventKind, dict[str, Any]]] = []
    if delivery.liquid_c is not None and delivery.measured == "skin":
        told.append((EventKind.SKIN, {"c": delivery.liquid_c}))
    seen = {"bulge": looks.bulge, "solids": looks.solids, "ring": looks.ring}
    looked = {name: what for name, what in seen.items() if what is not None}
    if looked:
        told.append((EventKind.INSPECTED, {"reached_bottom": False, **looked}))
    if reasons:
        told.append((EventKind.HELD, {"reason": "; ".join(reasons)[:500]}))
    return [
        Happening(
            event_id=uuid5(receipt.event_id, kind.value),
            kind=kind,
            at=receipt.at + number * _MOMENT,
            data=data,
        )
        for number, (kind, data) in enumerate(told, start=1)
    ]
