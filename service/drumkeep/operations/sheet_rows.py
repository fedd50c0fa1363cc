"""What a row of a spreadsheet asks for: the columns of each noun, and each row's deed.

Over 400 lines because the three nouns share how a cell is read and refused.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from json import JSONDecodeError, dumps, loads
from typing import Any, Final, Literal, TypeVar
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from drumkeep.domain import tags
from drumkeep.domain.events import effective
from drumkeep.domain.products import Limits, Properties
from drumkeep.domain.spreadsheet_cells import Days, Unclear, mass_kg, number, side, temperature_c
from drumkeep.domain.spreadsheets import NOTHING, Column, Sheet, SheetRow, unescaped
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations.drums import By
from drumkeep.operations.lots import change_lot, create_lot
from drumkeep.operations.places import place_named
from drumkeep.operations.products import change_product, create_product
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.catalogue import Lot, Place, Product
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.constants import DRUM_STEEL_KG

_Meant = TypeVar("_Meant")

_TITLE: Final = "The row cannot be used."
_IDS: Final = UUID("6d1b7c0e-5a0e-4f57-9d0b-0b8f3a5f2f11")
"""The ids of receipts are made under it from their rows: a file twice is no second deed."""
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
    Column("came from", ("from",)),
    Column("made on", ()),
    Column("tare", ("tare weight",)),
    Column("share", ()),
    Column("un mark", ()),
    Column("note", ("notes", "comment", "remarks")),
)


_FROM: Final[Mapping[str, tuple[str, ...]]] = {
    "net_kg": ("net mass",),
    "kg": ("net mass",),
    "tare_kg": ("tare",),
    "liquid_c": ("liquid temperature",),
    "at": ("received",),
    "from": ("came from",),
    "origin": ("came from",),
    "made_on": ("made on",),
    "expires_on": ("expires on",),
    "un_mark": ("un mark",),
    "properties": ("further figures",),
    "code": ("lot", "product"),
}
"""Columns by the names that operations call their contents, where those differ."""


Fate = Literal["new", "changed", "there", "refused"]
"""What becomes of a row; ``there`` is what was on record so already."""


@dataclass(frozen=True, slots=True)
class Deed:
    """What became of a row that was not refused, and of which thing."""

    fate: Fate
    thing: str


class Reader:
    """Reads the cells of a sheet, naming row and column in each fault."""

    def __init__(
        self, tx: Tx, sheet: Sheet, *, by: By, now: datetime, day_first: bool | None
    ) -> None:
        self.tx, self.by, self.now = tx, by, now
        self._sheet = sheet
        self._days = {
            name: Days([row.cells[name] for row in sheet.rows], day_first=day_first)
            for name in ("received", "made on", "expires on")
            if name in sheet.headers
        }
        self._seen: dict[str, int] = {}

    def text(self, row: SheetRow, name: str) -> str | None:
        """Return a cell's text; None where it holds nothing."""
        cell = row.cells.get(name, "")
        if name != "note":  # the only one with lines of its own; split() knows no-break spaces
            cell = " ".join(cell.split())
        if cell.startswith("=") or (cell.startswith("#") and cell.endswith(("!", "?"))):
            raise self.fault(name, cell, "is a formula or its error", "Paste the value instead.")
        return None if cell.lower() in NOTHING else unescaped(cell)

    def needed(self, row: SheetRow, name: str) -> str:
        """Return a cell that must not be empty; what stands above it is not taken for it."""
        text = self.text(row, name)
        if text is None:
            mend = "Write it in each row; a merged cell counts for its first row only."
            raise self.fault(name, None, "is empty", mend)
        return text

    def read(self, row: SheetRow, name: str, how: Callable[[str], _Meant]) -> _Meant | None:
        """Return what a cell means; None where it holds nothing."""
        text = self.text(row, name)
        if text is None:
            return None
        try:
            return how(text)
        except Unclear as error:
            raise self.fault(name, text, error.problem, error.mend) from None

    def mass(self, row: SheetRow, name: str) -> float | None:
        """Return a mass in kg."""
        return self.read(row, name, lambda text: mass_kg(text, unit=self._sheet.units[name]))

    def temperature(self, row: SheetRow, name: str) -> float | None:
        """Return a temperature in °C."""
        return self.read(row, name, lambda text: temperature_c(text, unit=self._sheet.units[name]))

    def has(self, name: str) -> bool:
        """Whether the sheet has the column."""
        return name in self._sheet.headers

    def named(self, fault: Fault) -> Fault:
        """Return a fault of the deed itself under the column that it came from."""
        # ``drums.0.net_kg`` of a receipt and ``limits.spray_low_c`` of a product end in the cell.
        group, last = fault.field.partition(".")[0], fault.field.rpartition(".")[2]
        names = [last, *_FROM.get(last, ()), *_FROM.get(group, ())]
        if group == "origins":
            names = ["origins"]
        header = next((self._sheet.headers[name] for name in names if self.has(name)), None)
        return fault if header is None else replace(fault, field=header)

    def days(self, name: str) -> Days:
        """Return the reader of a column of dates."""
        return self._days[name]

    def once(self, row: SheetRow, key: str, *, column: str) -> None:
        """Refuse what stands in the file already."""
        first = self._seen.setdefault(key, row.line)
        if first != row.line:
            mend = "Leave one of the two out; drums without tags need a column of numbers."
            raise self.fault(column, row.cells.get(column), f"stands in row {first} too", mend)

    def fault(self, name: str, value: object, problem: str, mend: str) -> Invalid:
        """Return the refusal of a cell."""
        return Invalid(_TITLE, [Fault(self._sheet.headers.get(name, name), value, problem, mend)])

    def product(self, row: SheetRow) -> Product:
        """Return the product of a row, by code or by a name that only one has."""
        text = self.needed(row, "product")
        named = [
            one
            for one in catalogue.list_products(self.tx, limit=10_000)
            if text == one.code or text.lower() in {one.code.lower(), one.name.lower()}
        ]
        exact = [one for one in named if one.code == text] or named
        if len(exact) != 1:
            problem = "is not known" if not exact else "may be any of several products"
            raise self.fault("product", text, problem, "Write the code of a product on record.")
        said = self.read(row, "side", side)
        if said is not None and said != exact[0].side:
            problem = f"is not the side of {exact[0].code}, which is {exact[0].side}"
            raise self.fault("side", row.cells["side"], problem, "Correct the side or the product.")
        return exact[0]

    def lot_code(self, row: SheetRow) -> str:
        """Return a lot's code, unless a spreadsheet made a number of it."""
        code = self.needed(row, "lot")
        if "E+" in code.upper():
            raise self.fault(
                "lot",
                code,
                "is a number that the spreadsheet shortened",
                "Format the column as text and type the lot anew.",
            )
        return code

    def lot(self, row: SheetRow, product: Product) -> Lot:
        """Return the lot of a row."""
        code = self.lot_code(row)
        found = catalogue.lot_by_code(self.tx, product=product.code, code=code)
        if found is not None:
            return found
        alike = [
            one.code
            for one in catalogue.list_lots(self.tx, product=product.code, limit=10_000)
            if one.code.lstrip("0") == code.lstrip("0")
        ]
        problem = f"is not known, but {' and '.join(alike)} is" if alike else "is not known"
        mend = (
            "Format the column as text, so that zeros stay."
            if alike
            else "Import the lots first, or correct it."
        )
        raise self.fault("lot", code, problem, mend)

    def place(self, row: SheetRow, name: str) -> Place:
        """Return the place of a row: ``site/code``, or a code or name that only one has."""
        text = self.needed(row, name)
        if "/" in text:
            try:
                return place_named(self.tx, reference=text, field=name)
            except Invalid as error:
                told = error.faults[0]
                raise self.fault(name, text, told.problem, told.mend) from None
        found = [
            one
            for one in catalogue.list_places(self.tx, limit=10_000)
            if text.lower() in {one.code.lower(), one.name.lower()}
        ]
        if len(found) != 1:
            problem = "may be any of several places" if found else "is not known"
            raise self.fault(name, text, problem, "Write it as site/place, by their codes.")
        return found[0]


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
        told["origins"] = reader.read(row, "origins", _object) or {}
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
        kept["properties"] |= reader.read(row, "further figures", _object) or {}
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


def _object(text: str) -> dict[str, Any]:
    try:
        found = loads(text)
    except (JSONDecodeError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise Unclear("is no JSON object", "Leave it as it was exported, or empty.")
    return found


def put_lot(reader: Reader, row: SheetRow) -> Deed:
    """Make a lot or change its dates."""
    product, code = reader.product(row), reader.lot_code(row)
    reader.once(row, f"{product.code} {code}", column="lot")
    reader.needed(row, "made on")
    made_on = reader.read(row, "made on", reader.days("made on").day)
    expires_on = (
        reader.read(row, "expires on", reader.days("expires on").day)
        if row.cells.get("expires on")
        else None
    )
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


def put_drum(reader: Reader, row: SheetRow) -> Deed:
    """Receive a drum; one that is on record is left as it is."""
    product = reader.product(row)
    lot, place = reader.lot(row, product), reader.place(row, "place")
    origin = reader.place(row, "came from") if reader.text(row, "came from") else None
    zone = ZoneInfo(catalogue.sites_by_id(reader.tx, ids=[place.site_id])[place.site_id].timezone)
    reader.needed(row, "received")
    at = reader.read(row, "received", lambda text: reader.days("received").moment(text, zone=zone))
    text = reader.text(row, "tag")
    tag = None if text is None else tags.parse(text, field="tag")
    reader.once(row, tag or dumps([*row.cells.values()]), column="tag")
    made_on = (
        reader.read(row, "made on", reader.days("made on").day)
        if row.cells.get("made on")
        else None
    )
    share = reader.read(row, "share", lambda cell: number(cell)[0])
    tare = reader.mass(row, "tare")
    if at is None:  # never: it was needed
        raise reader.fault("received", None, "is empty", "Write when it came.")
    receipt = Receipt(
        event_id=uuid5(_IDS, tag or dumps(sorted(row.cells.items()))),
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
    known = None if tag is None else drum_rows.drum_by_tag(reader.tx, tag=tag)
    if known is not None:
        log = effective(drum_rows.events_of(reader.tx, drum_ids=[known.id])[known.id])
        first = log[0]
        if (first.at, dict(first.data), known.lot_id) == (at, receipt.data(), lot.id):
            return Deed("there", known.tag)
        raise Conflict(
            _TITLE,
            [
                Fault(
                    "tag",
                    known.tag,
                    "is on record with another receipt",
                    "Correct that drum on its page; an import changes no drum.",
                )
            ],
        )
    before = drum_rows.event_by_id(reader.tx, event_id=receipt.event_id)
    made = receive_drums(reader.tx, receipts=[receipt], by=reader.by, now=reader.now)[0]
    return Deed("new" if before is None else "there", made.tag)


NOUNS: Final[Mapping[str, tuple[Sequence[Column], Callable[[Reader, SheetRow], Deed]]]] = {
    "drums": (DRUM_COLUMNS, put_drum),
    "lots": (LOT_COLUMNS, put_lot),
    "products": (PRODUCT_COLUMNS, put_product),
}
"""What can be imported: its columns, and what is done with a row."""
