"""Bring in what a person keeps in a spreadsheet: every row's fate first, then all or nothing."""

from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.roles import Action, may
from drumkeep.domain.spreadsheets import Sheet, read_sheet
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused
from drumkeep.operations.drums import By
from drumkeep.operations.sheet_rows import NOUNS, Fate, Reader
from drumkeep.storage.savepoint import savepoint, undone
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class RowFate:
    """What becomes of a row, and its faults if it is refused."""

    line: int
    fate: Fate
    thing: str | None = None
    faults: tuple[Fault, ...] = ()


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
    check: bool = False,
    take_good: bool = False,
    day_first: bool | None = None,
) -> SheetReport:
    """Bring in a file of drums, lots or products.

    Parameters
    ----------
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
    if not may(by.role, Action.CHANGE_CATALOGUE):
        raise Refused(f"The role {by.role} may not import.")
    sheet = read_sheet(content, columns=NOUNS[noun][0])

    def go_through() -> tuple[RowFate, ...]:
        reader = Reader(tx, sheet, by=by, now=now, day_first=day_first)
        return _fates(tx, sheet, noun=noun, reader=reader)

    with undone(tx):
        fates = go_through()
    refused = any(row.fate == "refused" for row in fates)
    if check or (refused and not take_good):
        return SheetReport(fates, sheet.totals, sheet.unused, stored=False)
    return SheetReport(go_through(), sheet.totals, sheet.unused, stored=True)


def _fates(tx: Tx, sheet: Sheet, *, noun: str, reader: Reader) -> tuple[RowFate, ...]:
    put = NOUNS[noun][1]
    fates = []
    for row in sheet.rows:
        try:
            beyond = row.cells.get("")
            if beyond is not None:
                mend = "Quote cells that hold the separator, or clear what stands beside the table."
                raise reader.fault("beyond the last column", beyond, "has no header", mend)
            with savepoint(tx):
                deed = put(reader, row)
            fates.append(RowFate(row.line, deed.fate, deed.thing))
        except (Invalid, Conflict, NotFound) as error:
            fates.append(
                RowFate(row.line, "refused", faults=tuple(map(reader.named, error.faults)))
            )
    return tuple(fates)
