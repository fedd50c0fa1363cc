"""What a row of products, lots or drums in a spreadsheet asks for: its columns, and its deed."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from json import dumps
from typing import Any, Final
from uuid import uuid5

from drumkeep.domain import tags
from drumkeep.domain.events import effective
from drumkeep.domain.products import Limits, Properties
from drumkeep.domain.spreadsheet_cells import number, serial, side, single
from drumkeep.domain.spreadsheets import Column, SheetRow
from drumkeep.errors import Conflict, Fault
from drumkeep.operations.lots import change_lot, create_lot
from drumkeep.operations.products import change_product, create_product
from drumkeep.operations.receipts import Receipt, log_receipts
from drumkeep.operations.sheet_reader import IDS, TITLE, Deed, Reader, json_object
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.catalogue import Product
from drumkeep.thermal.constants import DRUM_STEEL_KG

FIGURES: Final = {
    one.name: group
    for group, kind in (("limits", Limits), ("properties", Properties))
    for one in fields(kind)
    if one.type is float
}
"""Figures of a product that have a column each, and where they are kept."""

PRODUCT_COLUMNS: Final = (
    Column("product", ("product code", "code", "sku", "item"), needed=True),
    Column("name", ("product name", "description"), needed=True),
    Column("side", (), needed=True),
    Column("cell", ("cell structure",)),
    Column("system", ()),
    *(Column(name, (name.removesuffix("_c").removesuffix("_kg"),)) for name in FIGURES),
    Column("further figures", ()),
    Column("origins", ()),
)
LOT_COLUMNS: Final = (
    Column("product", ("product code", "product name", "material", "item"), needed=True),
    Column("lot", ("lot no", "lot number", "batch", "batch no", "lot code"), needed=True),
    Column("made on", ("made", "manufactured", "mfg date", "production date"), needed=True),
    Column("expires on", ("expires", "expiry", "exp date", "expiration date", "use by")),
)
DRUM_COLUMNS: Final = (
    Column("tag", ("drum", "drum tag", "drum id")),
    Column("product", ("product code", "product name", "material", "item"), needed=True),
    Column("lot", ("lot no", "lot number", "batch", "batch no", "lot code"), needed=True),
    Column("place", ("location", "where", "stored at"), needed=True),
    Column("received", ("received at", "date", "date received", "received on"), needed=True),
    Column("net mass", ("net", "weight", "net weight", "mass", "contents", "net kg", "quantity")),
    Column("liquid temperature", ("temp", "temperature", "liquid temp")),
    Column("side", ()),
    Column("number", ("no", "ref", "serial", "serial no")),
    Column("count", ("qty", "drums", "no of drums", "number of drums", "pieces", "pcs")),
    Column("came from", ("from",)),
    Column("made on", ()),
    Column("tare", ("tare weight",)),
    Column("share", ()),
    Column("un mark", ()),
    Column("note", ("notes", "comment", "remarks")),
)


def put_product(reader: Reader, row: SheetRow) -> Deed:
    """Make or change a product; what has no column stays as it is."""
    code = reader.needed(row, "product")
    reader.once(row, code, column="product")
    on_side, cell = side_of(reader, row), reader.text(row, "cell")
    found = catalogue.product_by_code(reader.tx, code=code)
    told: dict[str, Any] = {"name": reader.needed(row, "name"), **_figures(reader, row, found)}
    if reader.has("system"):
        told["system"] = reader.text(row, "system")
    if reader.has("origins"):
        told["origins"] = reader.read(row, "origins", json_object) or {}
    if found is None:
        create_product(reader.tx, code=code, side=on_side, cell=cell and cell.lower(), **told)
        return Deed("new", code)
    if found.side != on_side or (cell and cell.lower() != found.cell):
        raise reader.fault(
            "side",
            on_side,
            "or its cell is another on record",
            "Give the product a code of its own.",
        )
    if all(getattr(found, name) == value for name, value in told.items()):
        return Deed("there", code)
    change_product(reader.tx, code=code, changes=told)  # type: ignore[arg-type]  # its own keys
    return Deed("changed", code)


def _figures(reader: Reader, row: SheetRow, found: Product | None) -> dict[str, dict[str, Any]]:
    """Return limits and properties: what is on record, with what the columns say instead."""
    kept: dict[str, dict[str, Any]] = {
        "limits": {} if found is None else dict(found.limits),
        "properties": {} if found is None else dict(found.properties),
    }
    if reader.has("further figures"):
        for group, stated in kept.items():
            kept[group] = {name: value for name, value in stated.items() if name in FIGURES}
        kept["properties"] |= reader.read(row, "further figures", json_object) or {}
    for name, group in FIGURES.items():
        if not reader.has(name):
            continue
        value = (
            reader.temperature(row, name)
            if name.endswith("_c")
            else reader.mass(row, name)
            if name == "net_kg"
            else reader.read(row, name, lambda text: number(text)[0])
        )
        kept[group].pop(name, None)
        if value is not None:
            kept[group][name] = value
    return kept


def side_of(reader: Reader, row: SheetRow) -> str:
    """Return the side that a row must say."""
    reader.needed(row, "side")
    return str(reader.read(row, "side", side))


def put_lot(reader: Reader, row: SheetRow) -> Deed:
    """Make a lot or change its dates."""
    product, code = reader.product(row), reader.lot_code(row)
    reader.once(row, f"{product.code} {code}", column="lot")
    reader.needed(row, "made on")
    made_on = reader.day(row, "made on")
    expires_on = reader.day(row, "expires on") if row.cells.get("expires on") else None
    found = catalogue.lot_by_code(reader.tx, product=product.code, code=code)
    thing = f"{product.code} {code}"
    if made_on is None:  # never: it was needed
        raise reader.fault("made on", None, "is empty", "Write the day it was made.")
    if found is not None and not reader.has("expires on"):
        expires_on = found.expires_on
    if found is None:
        create_lot(
            reader.tx,
            product=product.code,
            code=code,
            made_on=made_on,
            expires_on=expires_on,
            now=reader.now,
        )
        return Deed("new", thing)
    if (found.made_on, found.expires_on) == (made_on, expires_on):
        return Deed("there", thing)
    change_lot(
        reader.tx,
        product=product.code,
        code=code,
        now=reader.now,
        changes={"made_on": made_on, "expires_on": expires_on},
    )
    return Deed("changed", thing)


def _meaning(at: datetime, data: Mapping[str, Any]) -> tuple[object, ...]:
    """Return what makes a receipt the same in whichever units and style it is written."""
    mass, temperature = data.get("net_kg"), data.get("liquid_c")
    return (
        at.astimezone(UTC).isoformat(timespec="minutes"),
        data["place"],
        None if mass is None else round(mass, 1),
        None if temperature is None else round(temperature, 1),
    )


def put_drum(reader: Reader, row: SheetRow) -> Deed:
    """Receive a drum; one that is on record is left as it is."""
    product = reader.product(row)
    reader.read(row, "count", single)
    number_of_it = reader.read(row, "number", serial)
    made_on = reader.day(row, "made on") if reader.text(row, "made on") else None
    place, lot = reader.place(row, "place"), reader.lot_or_new(row, product, made_on=made_on)
    origin = reader.place(row, "came from") if reader.text(row, "came from") else None
    reader.needed(row, "received")
    at = reader.moment(row, "received", place=place)
    text = reader.text(row, "tag")
    tag = None if text is None else tags.parse(text, field="tag")
    if tag is not None:
        reader.once(row, tag, column="tag")
    share = reader.read(row, "share", lambda cell: number(cell)[0])
    tare = reader.mass(row, "tare")
    if at is None:  # never: it was needed
        raise reader.fault("received", None, "is empty", "Write when it came.")
    receipt = Receipt(
        event_id=uuid5(IDS, tag or ""),
        product=product.code,
        lot=lot.code,
        place=place.id,
        at=at,
        tag=tag,
        origin=None if origin is None else origin.id,
        net_kg=reader.mass(row, "net mass"),
        liquid_c=reader.temperature(row, "liquid temperature"),
        made_on=made_on,
        share=1.0 if share is None else share,
        tare_kg=DRUM_STEEL_KG if tare is None else tare,
        un_mark=reader.text(row, "un mark"),
        note=reader.text(row, "note"),
    )
    if tag is None:
        meaning = dumps([lot.id, number_of_it, *_meaning(at, receipt.data())])
        own = uuid5(IDS, dumps([meaning, reader.ordinal(meaning)]))
        # As versions before 0006 knew it: by the text of its cells.
        before = uuid5(IDS, dumps(sorted(row.cells.items())))
        for event_id in (own, before):
            event = drum_rows.event_by_id(reader.tx, event_id=event_id)
            if event is not None:
                drum = drum_rows.drums_by_id(reader.tx, ids=[event.drum_id])[event.drum_id]
                return Deed("there", drum.tag)
        receipt = replace(receipt, event_id=own)
    known = None if tag is None else drum_rows.drum_by_tag(reader.tx, tag=tag)
    if known is not None:
        log = effective(drum_rows.events_of(reader.tx, drum_ids=[known.id])[known.id])
        first = log[0]
        told = (_meaning(at, receipt.data()), lot.id)
        if (_meaning(first.at, first.data), known.lot_id) == told:
            return Deed("there", known.tag)
        raise Conflict(
            TITLE,
            [
                Fault(
                    "tag",
                    known.tag,
                    "is on record with another receipt",
                    "Correct that drum on its page; an import changes no drum.",
                )
            ],
        )
    (made,), fresh = log_receipts(reader.tx, receipts=[receipt], by=reader.by, now=reader.now)
    reader.compute(dict.fromkeys(fresh, 0))
    return Deed("new" if fresh else "there", made.tag)
