"""Bring in what a person keeps in a spreadsheet: every row's fate first, then all or nothing."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Final, Protocol

from drumkeep.domain.roles import Action, may
from drumkeep.domain.spreadsheets import TITLE, Column, SheetRow, read_sheet
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused
from drumkeep.operations.drums import By
from drumkeep.operations.refresh import refresh_drums
from drumkeep.operations.sheet_events import EVENT_COLUMNS, EventRows
from drumkeep.operations.sheet_reader import Deed, Fate, Meant, Reader, Sent
from drumkeep.operations.sheet_rows import (
    DRUM_COLUMNS,
    LOT_COLUMNS,
    PRODUCT_COLUMNS,
    put_drum,
    put_lot,
    put_product,
)
from drumkeep.storage.savepoint import savepoint, undone
from drumkeep.storage.transaction import Tx


class Rows(Protocol):
    """What is done with the rows of a file."""

    def ordered(self) -> Sequence[SheetRow]:
        """Return the rows in the order in which they are to be put."""

    def put(self, row: SheetRow) -> Deed:
        """Do what a row asks for."""


class _PlainRows:
    """Rows that are put as they stand in the file, each by itself."""

    def __init__(self, reader: Reader, how: Callable[[Reader, SheetRow], Deed]) -> None:
        self._reader = reader
        self._how = how

    def ordered(self) -> Sequence[SheetRow]:
        return self._reader.rows

    def put(self, row: SheetRow) -> Deed:
        return self._how(self._reader, row)


@dataclass(frozen=True, slots=True)
class Noun:
    """What can be imported: its columns, what it takes to do so, and what is done with its rows."""

    columns: Sequence[Column]
    action: Action
    begin: Callable[[Reader], Rows]


NOUNS: Final[Mapping[str, Noun]] = {
    "drums": Noun(DRUM_COLUMNS, Action.RECORD, partial(_PlainRows, how=put_drum)),
    "lots": Noun(LOT_COLUMNS, Action.CHANGE_CATALOGUE, partial(_PlainRows, how=put_lot)),
    "products": Noun(
        PRODUCT_COLUMNS, Action.CHANGE_CATALOGUE, partial(_PlainRows, how=put_product)
    ),
    "events": Noun(EVENT_COLUMNS, Action.RECORD, EventRows),
}
"""What can be imported, by what people call it."""


@dataclass(frozen=True, slots=True)
class RowFate:
    """What becomes of a row, and its faults if it is refused.

    ``meant`` is how its dates, masses and temperatures were read, by column.
    """

    line: int
    fate: Fate
    thing: str | None = None
    faults: tuple[Fault, ...] = ()
    meant: Mapping[str, Meant] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SheetReport:
    """What became of a file, or would; ``stored`` says which.

    ``totals`` are lines that only add others up and were passed over.
    """

    rows: tuple[RowFate, ...]
    totals: tuple[int, ...]
    unused: tuple[str, ...]
    stored: bool

    def count(self, fate: str) -> int:
        """Return how many rows have a fate."""
        return sum(row.fate == fate for row in self.rows)


def import_sheet(
    tx: Tx,
    *,
    noun: str,
    content: bytes,
    by: By,
    now: datetime,
    sent: Sent,
    most: int | None = None,
    check: bool = False,
    take_good: bool = False,
    day_first: bool | None = None,
) -> SheetReport:
    """Bring in a file of drums, lots, products or events.

    Parameters
    ----------
    sent
        Reads an event as it is sent by programs.
    most
        Rows that are taken at once; None for any number.
    check
        Only say what would become of it.
    take_good
        Store the rows that can be used though others are refused; else it is all or nothing.
    day_first
        Whether 3/4/2026 is the 3rd of April; None to be told by the file or to refuse it.

    Raises
    ------
    Invalid
        The file as a whole cannot be used.
    Refused
        The role may not.
    """
    wanted = NOUNS[noun]
    if not may(by.role, wanted.action):
        raise Refused(f"The role {by.role} may not {wanted.action}.")
    sheet = read_sheet(content, columns=wanted.columns)
    if most is not None and len(sheet.rows) > most:
        mend = f"Split it into files of at most {most} rows, or use the command drumkeep import."
        fault = Fault("file", None, f"has {len(sheet.rows)} rows, too many at once", mend)
        raise Invalid(TITLE, [fault])

    def go_through() -> tuple[tuple[RowFate, ...], Mapping[int, int]]:
        reader = Reader(tx, sheet, by=by, now=now, day_first=day_first, sent=sent)
        return _fates(tx, wanted.begin(reader), reader=reader), reader.changed

    with undone(tx):
        fates, _ = go_through()
    refused = any(row.fate == "refused" for row in fates)
    if check or (refused and not take_good):
        return SheetReport(fates, sheet.totals, sheet.unused, stored=False)
    fates, changed = go_through()
    refresh_drums(tx, since=changed, now=now)
    return SheetReport(fates, sheet.totals, sheet.unused, stored=True)


def _fates(tx: Tx, rows: Rows, *, reader: Reader) -> tuple[RowFate, ...]:
    fates = []
    for row in rows.ordered():
        try:
            beyond = row.cells.get("")
            if beyond is not None:
                mend = "Quote cells that hold the separator, or clear what stands beside the table."
                raise reader.fault("beyond the last column", beyond, "has no header", mend)
            with savepoint(tx):
                deed = rows.put(row)
            meant = reader.meant.get(row.line, {})
            fates.append(RowFate(row.line, deed.fate, deed.thing, meant=meant))
        except (Invalid, Conflict, NotFound) as error:
            fates.append(
                RowFate(
                    row.line,
                    "refused",
                    faults=tuple(reader.named(fault, row) for fault in error.faults),
                )
            )
    return tuple(sorted(fates, key=lambda fate: fate.line))
