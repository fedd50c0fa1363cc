"""What a supplier's label says, and what was received, as pages show it."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from drumkeep.domain.drums import fold
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.quantities import pounds
from drumkeep.domain.supplier_labels import SupplierLabel
from drumkeep.errors import DrumkeepError, Fault
from drumkeep.operations.supplier_labels import Scanned
from drumkeep.storage import catalogue, deliveries
from drumkeep.storage import drums as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx
from drumkeep.web.form_faults import in_units
from drumkeep.web.formats import Formats

_LABELS: Final = {
    "label": "Supplier's label",
    "label.gtin": "Trade item number",
    "label.sscc": "Pallet number",
    "id": "This form",
    "product": "Product",
    "lot": "Lot",
    "code": "Lot",
    "made_on": "Made on",
    "expires_on": "Expires on",
    "net_kg": "Liquid in each",
    "mass": "Liquid in each",
    "count": "How many alike",
    "place": "Into",
    "at": "When",
    "measured": "Measured",
    "liquid_c": "Temperature",
    "c": "Temperature",
    "temperature": "Temperature",
    "looks.damage": "Damage",
    "fine": "Looked at",
    "gtin": "Trade item number",
    "note": "Note",
    "photo": "Photo",
}

_LOOK: Final = EventKind.INSPECTED
_SEEN_OR_NOT: Final = {
    "bulge": ("bulge: seen", "bulge: none"),
    "solids": ("solids: seen", "solids: none"),
    "skin": ("skin: seen", "skin: none"),
}
_FEARED: Final = re.compile(r"(bulg|press|hiss|sw[eo]l|abomb|hinch|presi|silb)", re.IGNORECASE)
_RINGS: Final = {
    "red": "ring at the bung: red",
    "double": "ring at the bung: double",
    "none": "ring at the bung: none",
}
_ON_LABEL: Final = {
    "Trade item": "Label: trade item",
    "Serial": "Label: serial",
    "Pallet": "Label: pallet",
    "Keep at": "Label: keep at",
}
"""What a fact of the label is called on a receipt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceivedDrum:
    """A drum of a receipt; ``hold`` is why it is on hold."""

    tag: str
    hold: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptView:
    """Drums that were received in one go; ``facts`` hold for all of them.

    ``takes_photos``: not where they were received before photos were kept of deliveries.
    ``bulged``: one of them is held for that or for pressure, or may be.
    """

    key: str
    takes_photos: bool
    side: str
    drums: tuple[ReceivedDrum, ...]
    at: datetime
    by: str
    facts: tuple[tuple[str, str], ...]
    note: str | None
    bulged: bool

    @property
    def tags(self) -> str:
        """All tags, as the page of labels takes them."""
        return " ".join(drum.tag for drum in self.drums)


def faults_in_words(found: DrumkeepError | Sequence[Fault], formats: Formats) -> tuple[Fault, ...]:
    """Return faults under the labels of the form, figures in the person's units."""
    faults: Iterable[Fault]
    if isinstance(found, DrumkeepError):
        faults = found.faults or [Fault("", None, found.title, "")]
    else:
        faults = found
    return tuple(
        replace(
            fault,
            field=_LABELS.get(fault.field, fault.field),
            problem=in_units(fault.problem, formats=formats),
            mend=in_units(fault.mend, formats=formats),
        )
        for fault in faults
    )


def filled_in(found: Scanned, *, formats: Formats) -> dict[str, str]:
    """Return the fields of the form that a label fills in."""
    label = found.label
    told: dict[str, Any] = {
        "gtin": label.gtin,
        "product": None if found.product is None else found.product.code,
        "lot": label.lot,
        "made_on": _iso(label.made_on),
        "expires_on": _iso(label.last_day),
        "mass": None if label.net_kg is None else _mass(label.net_kg, formats),
        "count": label.count,
        "note": _marks(label),
    }
    return {name: str(value) for name, value in told.items() if value is not None}


def next_field(given: Mapping[str, str], found: Scanned) -> str:
    """Return the field in which a person goes on once a label has filled in what it says."""
    asked = ["product", "lot", "count", "place", "temperature"]
    if found.lot is None:
        asked.insert(2, "made_on")
    return next((name for name in asked if not given.get(name)), "")


def label_facts(label: SupplierLabel, *, formats: Formats) -> tuple[tuple[str, str], ...]:
    """Return in words what a label says beside what its fields hold."""
    kept = None
    if label.lowest_c is not None and label.highest_c is not None:
        kept = formats.temp_span(label.lowest_c, label.highest_c)
    elif label.highest_c is not None:
        kept = formats.words("up to {temp}", temp=formats.temp(label.highest_c))
    elif label.lowest_c is not None:
        kept = formats.words("from {temp}", temp=formats.temp(label.lowest_c))
    told = (
        ("Trade item", label.gtin),
        ("Serial", label.serial),
        ("Pallet", label.sscc),
        ("Keep at", kept),
    )
    return tuple((name, value) for name, value in told if value is not None)


def receipt_view(
    tx: Tx, found: Sequence[tuple[Drum, Event]], *, key: UUID, formats: Formats
) -> ReceiptView:
    """Return what was received in one go."""
    first, event = found[0]
    lot, product = rows.lots_and_products(tx, lot_ids=[first.lot_id])[first.lot_id]
    rules = as_product(product)
    place_id = int(event.data["place"])
    place = catalogue.places_by_id(tx, ids=[place_id])[place_id]
    log = rows.events_of(tx, drum_ids=[drum.id for drum, _ in found])
    holds = {i: fold(effective(events), product=rules).hold for i, events in log.items()}
    warm = next((e for e in log[first.id] if e.kind.value == "skin"), None)
    expires = rules.expires_at(made_on=lot.made_on, expires_on=lot.expires_on).date()
    look = next((e for e in log[first.id] if e.kind == _LOOK), None)
    came = formats.words("not measured")
    if event.data.get("liquid_c") is not None:
        came = formats.words("{temp} by a dip", temp=formats.temp(event.data["liquid_c"]))
    elif warm is not None:
        came = formats.words("{temp} on the skin", temp=formats.temp(warm.data["c"]))
    facts = [
        ("Product", product.name),
        ("Lot", lot.code),
        ("Made", formats.tongue.date(lot.made_on)),
        ("Expires", formats.tongue.date(expires)),
        ("Into", place.name),
        ("Liquid in each", formats.mass(event.data.get("net_kg", rules.properties.net_kg))),
        ("Temperature", came),
        ("Looked at", _looked(look, formats)),
    ]
    delivery = deliveries.by_key(tx, key=key)
    if delivery is not None and delivery.label:
        facts += _label_facts(delivery.label, formats=formats)
    return ReceiptView(
        key=str(key),
        takes_photos=delivery is not None,
        side=product.side,
        drums=tuple(
            ReceivedDrum(tag=drum.tag, hold=hold.reason if (hold := holds[drum.id]) else None)
            for drum, _ in found
        ),
        at=event.at,
        by=event.by,
        facts=tuple(facts),
        note=event.note,
        bulged=any(hold is not None and _is_feared(hold.reason) for hold in holds.values()),
    )


def _is_feared(reason: str) -> bool:
    """Whether a hold is for a bulge or for pressure, in our words or in what people type."""
    return _FEARED.search(reason) is not None


def _looked(look: DrumEvent | None, formats: Formats) -> str:
    """Say what was looked for, and found, when they came."""
    if look is None:
        return formats.words("nobody said so")
    told = [
        formats.words(seen if look.data[name] == "seen" else none)
        for name, (seen, none) in _SEEN_OR_NOT.items()
        if name in look.data
    ]
    if "ring" in look.data:
        told.append(formats.words(_RINGS[look.data["ring"]]))
    return ", ".join(told)


def _label_facts(label: Mapping[str, Any], *, formats: Formats) -> list[tuple[str, str]]:
    """Return what the supplier's label said beside what the receipt itself tells."""
    said = SupplierLabel(
        gtin=label.get("gtin"),
        serial=label.get("serial"),
        sscc=label.get("sscc"),
        lowest_c=label.get("lowest_c"),
        highest_c=label.get("highest_c"),
    )
    facts = [(_ON_LABEL[name], words) for name, words in label_facts(said, formats=formats)]
    if label.get("net_kg") is not None:
        facts.append(("Label: net", formats.mass(label["net_kg"])))
    return [*facts, ("Label as read", label["text"])]


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _mass(kg: float, formats: Formats) -> str:
    return f"{round(pounds(kg) if formats.units == 'us' else kg, 1):g}"


def _marks(label: SupplierLabel) -> str | None:
    """Return what a label says that the drum's record has no field for."""
    told = {
        "GTIN": label.gtin,
        "serial of the one scanned": label.serial,
        "SSCC": label.sscc,
    }
    return ", ".join(f"{name} {value}" for name, value in told.items() if value) or None
