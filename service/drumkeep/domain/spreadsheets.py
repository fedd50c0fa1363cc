"""The table in a file that a person saved from a spreadsheet: encoding, separator, header, rows.

Columns go by their names, with the words that people use for them and a unit in brackets. What
cannot be read one way only is not guessed.
"""

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from drumkeep.domain.text_files import text_of
from drumkeep.domain.text_tables import SEPARATORS, BreaksOffError, Quotes, lines_of_cells
from drumkeep.errors import Fault, Invalid

TITLE: Final = "The spreadsheet cannot be used."
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for a formula at the beginning of a cell (OWASP, "CSV Injection")."""
LARGEST: Final = 8_000_000
"""Bytes: some 50,000 rows."""

_HEADER_WITHIN: Final = 20
_OTHER_KINDS: Final = (
    (b"PK\x03\x04", "is a workbook (xlsx or ods), whatever its name says"),
    (b"\xd0\xcf\x11\xe0", "is an old workbook (xls), whatever its name says"),
    (b"%PDF", "is a PDF"),
)
_AS_CSV: Final = "Save the sheet as CSV (UTF-8) and give that file."
_BRACKETS: Final = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")
_NO_WORD: Final = re.compile(r"[^a-z0-9]+")
_TOTALS: Final = re.compile(r"(grand |sub)?total(s)?:?|sum:?", re.IGNORECASE)
_NAMING: Final = ("tag", "lot")
"""Columns whose cells name one thing: a row that fills them is no total."""
NOTHING: Final = frozenset({"", "-", "--", "\N{EN DASH}", "\N{EM DASH}", "n/a", "na", "#n/a"})


@dataclass(frozen=True, slots=True)
class Column:
    """A column that a kind of file may have, and the other words that people head it with."""

    name: str
    words: tuple[str, ...] = ()
    needed: bool = False


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row: its line in the file from 1, and its cells by the names of the columns."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file's rows.

    Attributes
    ----------
    headers, units
        By name of column: how the file heads it, and the unit that stands there in brackets.
    rows
        Without blank ones and totals.
    totals
        Lines that only add others up and were passed over.
    unused
        Headers of columns that are none of ours.
    """

    headers: Mapping[str, str]
    units: Mapping[str, str]
    rows: tuple[SheetRow, ...]
    totals: tuple[int, ...]
    unused: tuple[str, ...]


def read_sheet(content: bytes, *, columns: Sequence[Column]) -> Sheet:
    """Read a file.

    Raises
    ------
    Invalid
        It is no such file, has no header with the needed columns, or heads two columns alike.
    """
    text = _text(content)
    known = {_plain(word): one.name for one in columns for word in (one.name, *one.words)}
    tables = [_split(text, separator) for separator in SEPARATORS]
    found = [(_header_at(table, known), table) for table in tables]
    (count, at), table = max(found, key=lambda one: one[0][0])
    header = table[at][1] if count else []
    headers, units, places, unused = _named(header, known)
    missing = [one.name for one in columns if one.needed and one.name not in headers]
    if missing:
        mend = f"Head the columns in one row: {', '.join(one.name for one in columns[:8])}."
        problem = "has no such column" if count else "has no header that can be read"
        raise Invalid(TITLE, [Fault(name, None, problem, mend) for name in missing])
    rows, totals = [], []
    for line, cells in table[at + 1 :]:
        beyond = [cell for cell in cells[len(header) :] if cell]
        named = {name: cells[i] if i < len(cells) else "" for i, name in places.items()}
        if _adds_up(cells, named):
            totals.append(line)
            continue
        rows.append(SheetRow(line, named | ({"": beyond[0]} if beyond else {})))
    if not rows:
        raise Invalid(TITLE, [Fault("file", None, "has no rows", "Give one with a row a thing.")])
    return Sheet(headers, units, tuple(rows), tuple(totals), unused)


def escaped(cell: str) -> str:
    """Keep a spreadsheet from taking a text for a formula, in a way that can be undone."""
    return f"'{cell}" if cell.startswith((*FORMULA, "'")) else cell


def unescaped(cell: str) -> str:
    """Return the text that :func:`escaped` kept from being a formula."""
    return cell[1:] if cell[:1] == "'" and escaped(cell[1:]) != cell[1:] else cell


def _adds_up(cells: Sequence[str], named: Mapping[str, str]) -> bool:
    """Whether a row says in its first filled cell that it is a total, and names no thing."""
    first = next(cell for cell in cells if cell)
    names = [named.get(name, "") for name in _NAMING]
    return bool(_TOTALS.fullmatch(first)) and not any(
        name and not _TOTALS.fullmatch(name) for name in names
    )


def _text(content: bytes) -> str:
    if len(content) > LARGEST:
        mend = f"Split it into files of less than {LARGEST // 1_000_000} MB."
        raise Invalid(TITLE, [Fault("file", len(content), "is too large", mend)])
    for mark, problem in _OTHER_KINDS:
        if content.startswith(mark):
            raise Invalid(TITLE, [Fault("file", None, problem, _AS_CSV)])
    text = text_of(content)
    if "\0" in text:
        raise Invalid(TITLE, [Fault("file", None, "has NUL bytes: it is no text", _AS_CSV)])
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _split(text: str, separator: str) -> list[tuple[int, list[str]]]:
    lines = io.StringIO(text, newline="")
    try:
        return list(lines_of_cells(lines, separator=separator, quotes=Quotes.AROUND_CELLS))
    except BreaksOffError as error:
        mend = "Look for a quotation mark that is not closed."
        fault = Fault(f"line {error.line}", None, f"breaks off: {error}", mend)
        raise Invalid(TITLE, [fault]) from None


def _header_at(
    table: Sequence[tuple[int, Sequence[str]]], known: Mapping[str, str]
) -> tuple[int, int]:
    """Return how many columns are known in the row that knows most, and which row it is."""
    counts = [
        (sum(_head(cell)[0] in known for cell in cells), -i)
        for i, (_, cells) in enumerate(table[:_HEADER_WITHIN])
    ]
    most, at = max(counts, default=(0, 0))
    return most, -at


def _named(
    header: Sequence[str], known: Mapping[str, str]
) -> tuple[dict[str, str], dict[str, str], dict[int, str], tuple[str, ...]]:
    headers: dict[str, str] = {}
    units: dict[str, str] = {}
    places: dict[int, str] = {}
    unused = []
    for i, cell in enumerate(header):
        word, unit = _head(cell)
        name = known.get(word)
        if name is None:
            unused += [cell] if cell else []
            continue
        if name in headers:
            problem = f"means the same as {headers[name]!r}"
            raise Invalid(TITLE, [Fault(cell, None, problem, "Leave one of the two out.")])
        headers[name], units[name], places[i] = cell, unit, name
    return headers, units, places, tuple(unused)


def _head(cell: str) -> tuple[str, str]:
    found = _BRACKETS.search(cell)
    name = cell if found is None else cell[: found.start()]
    return _plain(name), "" if found is None else found[1].strip()


def _plain(name: str) -> str:
    return _NO_WORD.sub(" ", name.lower()).strip()
