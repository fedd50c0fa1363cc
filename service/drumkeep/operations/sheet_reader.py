"""Cells of a spreadsheet's rows as they are meant, and what is wrong with one by row and column."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from json import JSONDecodeError, loads
from typing import Any, Final, Literal, TypeVar
from unicodedata import category
from uuid import UUID
from zoneinfo import ZoneInfo

from drumkeep.domain.spreadsheet_cells import (
    Days,
    Unclear,
    in_unit_of,
    mass_kg,
    plain,
    side,
    temperature_c,
)
from drumkeep.domain.spreadsheets import NOTHING, Sheet, SheetRow, unescaped
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.drums import By, Happening
from drumkeep.operations.lots import create_lot
from drumkeep.operations.places import place_named
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Lot, Place, Product
from drumkeep.storage.transaction import Tx

_Meant = TypeVar("_Meant")
_Read = TypeVar("_Read", bound=float | date | None)

TITLE: Final = "The row cannot be used."
IDS: Final = UUID("6d1b7c0e-5a0e-4f57-9d0b-0b8f3a5f2f11")
"""Ids of what rows tell are made under it from what they say: a file twice is no second deed."""

_VERBATIM: Final = frozenset({"note", "data"})
"""Columns whose spaces and lines are their own."""

_TWICE: Final = "Leave one of the two out."

_UNKNOWN_LOT: Final = "is not known"

_FROM: Final[Mapping[str, tuple[str, ...]]] = {
    "net_kg": ("net mass",),
    "kg": ("amount", "net mass"),
    "gross_kg": ("gross",),
    "resolution_kg": ("resolution",),
    "c": ("temperature",),
    "height_m": ("height",),
    "kpa": ("pressure",),
    "reached_bottom": ("reached bottom",),
    "with": ("other drum",),
    "event": ("data",),
    "tare_kg": ("tare",),
    "liquid_c": ("liquid temperature",),
    "at": ("received",),
    "from": ("came from", "other drum"),
    "origin": ("came from",),
    "made_on": ("made on",),
    "expires_on": ("expires on",),
    "un_mark": ("un mark",),
    "properties": ("further figures",),
    "code": ("lot", "product"),
}
"""Columns by the names that operations call their contents, where those differ."""


Sent = Callable[[Tx, Mapping[str, Any]], Happening]
"""Reads an event as it is sent by programs, and refuses what is none."""

Fate = Literal["new", "changed", "there", "refused"]
"""What becomes of a row; ``there`` is what was on record so already."""


@dataclass(frozen=True, slots=True)
class Deed:
    """What became of a row that was not refused, and of which thing."""

    fate: Fate
    thing: str


@dataclass(frozen=True, slots=True)
class Meant:
    """What a cell was read as: a time on its site's clock, a date, or a figure in SI."""

    value: float | date
    unit: str = ""

    def __str__(self) -> str:
        """Write it in SI, a time with the offset of its clock."""
        if isinstance(self.value, datetime):
            return self.value.isoformat(sep=" ", timespec="minutes")
        if isinstance(self.value, date):
            return self.value.isoformat()
        return f"{self.value:.1f} {self.unit}"


class Reader:
    """Reads the cells of a sheet, naming row and column in each fault."""

    def __init__(
        self, tx: Tx, sheet: Sheet, *, by: By, now: datetime, day_first: bool | None, sent: Sent
    ) -> None:
        self.tx, self.by, self.now, self.sent = tx, by, now, sent
        self._sheet = sheet
        self._days = {
            name: Days([row.cells[name] for row in sheet.rows], day_first=day_first)
            for name in ("received", "at", "made on", "expires on")
            if name in sheet.headers
        }
        self._seen: dict[str, int] = {}
        self._alike: Counter[str] = Counter()
        self.changed: dict[int, int] = {}
        """From when on (epoch ms) which drums are to be computed anew, once all rows are put."""
        self.meant: dict[int, dict[str, Meant]] = {}
        """How cells were read that can be read amiss, by line and column."""

    @property
    def rows(self) -> Sequence[SheetRow]:
        """The rows, as they stand in the file."""
        return self._sheet.rows

    def unit(self, name: str) -> str:
        """Return the unit that the header of a column names."""
        return self._sheet.units.get(name, "")

    def text(self, row: SheetRow, name: str) -> str | None:
        """Return a cell's text; None where it holds nothing."""
        cell = row.cells.get(name, "")
        if name not in _VERBATIM:  # split() knows no-break spaces
            cell = " ".join(plain(cell).split())
        if any(category(symbol) == "Cc" and symbol not in "\n\t" for symbol in cell):
            mend = "Write it as plain text."
            raise self.fault(name, cell, "has control characters in it", mend)
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
        kg = self.read(row, name, lambda text: mass_kg(text, unit=self.unit(name)))
        return self._noted(row, name, kg, "kg")

    def temperature(self, row: SheetRow, name: str) -> float | None:
        """Return a temperature in °C."""
        c = self.read(row, name, lambda text: temperature_c(text, unit=self.unit(name)))
        return self._noted(row, name, c, "°C")

    def moment(self, row: SheetRow, name: str, *, place: Place, clock: str = "") -> datetime | None:
        """Return a time; one that names no zone is of the clock of a place's site.

        ``clock`` is the column of the time of day, for files that have one beside the date.
        """
        sites = catalogue.sites_by_id(self.tx, ids=[place.site_id])
        zone = ZoneInfo(sites[place.site_id].timezone)
        hour = self.text(row, clock)
        days = self.days(name)
        at = self.read(
            row, name, lambda day: days.moment(f"{day} {hour}" if hour else day, zone=zone)
        )
        self._noted(row, name, None if at is None else at.astimezone(zone))
        return at

    def day(self, row: SheetRow, name: str) -> date | None:
        """Return a date."""
        return self._noted(row, name, self.read(row, name, self.days(name).day))

    def _noted(self, row: SheetRow, name: str, value: _Read, unit: str = "") -> _Read:
        """Note how a cell was read, to be shown before anything is stored."""
        if value is not None:
            self.meant.setdefault(row.line, {})[name] = Meant(value, unit)
        return value

    def compute(self, since: Mapping[int, int]) -> None:
        """Have drums computed anew in the end: by id, from when on."""
        for drum_id, from_ms in since.items():
            self.changed[drum_id] = min(from_ms, self.changed.get(drum_id, from_ms))

    def has(self, name: str) -> bool:
        """Whether the sheet has the column."""
        return name in self._sheet.headers

    def named(self, fault: Fault, row: SheetRow) -> Fault:
        """Return a fault under the column that it came from, with the cell as it was typed."""
        # ``drums.0.net_kg`` of a receipt and ``limits.spray_low_c`` of a product end in the cell.
        group, last = fault.field.partition(".")[0], fault.field.rpartition(".")[2]
        names = [last, *_FROM.get(last, ()), *_FROM.get(group, ())]
        if group == "origins":
            names = ["origins"]
        name = next((name for name in names if self.has(name)), None)
        if name is None:
            return fault
        typed = row.cells.get(name) or None
        return replace(
            fault,
            field=self._sheet.headers[name],
            value=typed,
            problem=in_unit_of(typed or "", fault.problem, unit=self.unit(name)),
            mend=in_unit_of(typed or "", fault.mend, unit=self.unit(name)),
        )

    def days(self, name: str) -> Days:
        """Return the reader of a column of dates."""
        return self._days[name]

    def ordinal(self, meaning: str) -> int:
        """Return how many rows of the file before meant the same."""
        self._alike[meaning] += 1
        return self._alike[meaning] - 1

    def once(self, row: SheetRow, key: str, *, column: str, mend: str = _TWICE) -> None:
        """Refuse what stands in the file already."""
        first = self._seen.setdefault(key, row.line)
        if first != row.line:
            raise self.fault(column, row.cells.get(column), f"stands in row {first} too", mend)

    def fault(self, name: str, value: object, problem: str, mend: str) -> Invalid:
        """Return the refusal of a cell."""
        return Invalid(TITLE, [Fault(self._sheet.headers.get(name, name), value, problem, mend)])

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
        problem = f"is not known, but {' and '.join(alike)} is" if alike else _UNKNOWN_LOT
        mend = (
            "Format the column as text, so that zeros stay."
            if alike
            else "Import the lots first, give the day it was made under “made on”, or correct it."
        )
        raise self.fault("lot", code, problem, mend)

    def lot_or_new(self, row: SheetRow, product: Product, *, made_on: date | None) -> Lot:
        """Return the lot of a row, made now where the row says when it was and none is alike."""
        try:
            return self.lot(row, product)
        except Invalid as error:
            if made_on is None or error.faults[0].problem != _UNKNOWN_LOT:
                raise
        code = self.lot_code(row)
        return create_lot(self.tx, product=product.code, code=code, made_on=made_on, now=self.now)

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


def json_object(text: str) -> dict[str, Any]:
    """Read a cell that was exported as a JSON object."""
    try:
        found = loads(text)
    except (JSONDecodeError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise Unclear("is no JSON object", "Leave it as it was exported, or empty.")
    return found
