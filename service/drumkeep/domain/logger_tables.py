"""The table in a logger's download: which encoding, which separator, where the header stands.

Loggers' programs write a few lines of their own before the header, a second header with units,
semicolons where the comma is the decimal mark, and a byte order mark. What counts as data is a line
with a time and beside it a number or a word for none.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Final

from drumkeep.domain.logger_times import looks_like_time
from drumkeep.domain.numerals import by_mark
from drumkeep.domain.text_files import holds_nul, opened_text
from drumkeep.domain.text_tables import SEPARATORS, BreaksOffError, Quotes, lines_of_cells
from drumkeep.domain.unit_words import unit_meant
from drumkeep.errors import Fault, Invalid

TITLE: Final = "The logger's file cannot be used."

_LOOKED_AT: Final = 500
"""Lines by which the separator is told and the header found."""

NO_VALUE: Final = frozenset(
    {
        *("", "-", "--", "---", "----", "*", "**", "***", "****", "?", "nan", "n/a", "na", "#n/a"),
        *("null", "none", "nil", "err", "error", "fault", "fail", "failed", "lost", "no data"),
        *("nodata", "missing", "open", "short", "ol", "ovl", "overflow", "underflow", "over range"),
        *("under range", "disconnected", "no sensor", "invalid", "bad", "off", "logged", "#err"),
    }
)
"""What loggers write where they have no value, in small letters."""

_NUMBER: Final = re.compile(
    r"([-+\N{MINUS SIGN}]?(?:\d(?:[\d.,'\N{RIGHT SINGLE QUOTATION MARK}\s]*[\d.,])?|[.,]\d+)"
    r"(?:[eE][-+]?\d+)?)\s*([^\d\s].{0,11})?"
)

_SAMPLE: Final = 200
"""Rows of the sample, at least, of a file that has so many; twice as many at most."""

_Line = tuple[int, Sequence[str]]


@dataclass(frozen=True, slots=True)
class LoggerTable:
    """The lines of a download.

    Attributes
    ----------
    columns
        Names of the columns; ``column 3`` where the file has no header or the cell is empty.
    units
        Of a second line of the header; empty where there is none.
    rows
        Line numbers from 1, each with its cells; blank lines are left out. Each time it is gone
        through the file is read anew, so that no more of it is held than a line.
    sample
        Some of the rows, from all over the file; the first of all is the first.
    last
        The last row.
    """

    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: "Rows"
    sample: tuple[_Line, ...]
    last: _Line


@dataclass(frozen=True, slots=True)
class Rows:
    """The lines of data of a file."""

    content: bytes
    separator: str
    quotes: Quotes
    skipped: int = 0

    def __iter__(self) -> Iterator[_Line]:
        """Read them from the file."""
        lines = _split(opened_text(self.content), self.separator, self.quotes)
        return islice(lines, self.skipped, None)


def read_table(content: bytes) -> LoggerTable:
    """Read a file into its table.

    Raises
    ------
    Invalid
        It is no text, or no line of it is a time with a value.
    """
    if holds_nul(opened_text(content)):
        mend = "Export it as CSV or text from the logger's own program; a workbook is not read."
        raise Invalid(TITLE, [Fault("file", None, "is no text", mend)])
    begins = list(islice(opened_text(content), _LOOKED_AT))
    separator, quotes = max(
        _WAYS, key=lambda way: sum(_is_data(cells) for _, cells in _split(begins, *way))
    )
    before: list[_Line] = []
    for line in Rows(content, separator, quotes):
        if _is_data(line[1]):
            break
        before.append(line)
    else:
        raise _no_data(content)
    header, units = _header(before, line[1])
    rows = Rows(content, separator, quotes, skipped=len(before))
    widths: Counter[int] = Counter()
    sample: list[_Line] = []
    every = 1
    for place, line in enumerate(rows):
        widths[len(line[1])] += 1
        if place % every == 0:
            sample.append(line)
        if len(sample) > 2 * _SAMPLE:
            sample, every = sample[::2], 2 * every
    width = max(len(header), widths.most_common(1)[0][0])
    header = [*header, *([""] * (width - len(header)))]
    return LoggerTable(
        columns=tuple(
            name.strip() or f"column {number}" for number, name in enumerate(header, start=1)
        ),
        units=(*units, *([""] * (width - len(units)))),
        rows=rows,
        sample=tuple(sample),
        last=line,
    )


@lru_cache(maxsize=16384)
def number(cell: str) -> tuple[Mapping[str, float], str] | None:
    """Read a number with what stands behind it, such as its unit; None if it is none.

    What it is worth is told by its decimal mark, as in :func:`drumkeep.domain.numerals.by_mark`.
    """
    found = _NUMBER.fullmatch(cell)
    worth = None if found is None else by_mark(found[1])
    return (worth, (found[2] or "").strip()) if found and worth else None


_WAYS: Final = [
    (separator, quotes) for quotes in (Quotes.MAYBE, Quotes.LETTERS) for separator in SEPARATORS
]
"""A quote that is never closed would swallow the rest of the file, so quotes may be letters too."""


def _split(text: Iterable[str], separator: str, quotes: Quotes) -> Iterator[_Line]:
    with suppress(BreaksOffError):  # then this is not how the file is to be read
        yield from lines_of_cells(text, separator=separator, quotes=quotes)


def _is_data(cells: Sequence[str]) -> bool:
    times = [i for i, cell in enumerate(cells) if looks_like_time(cell)]
    return bool(times) and any(
        cell and i not in times and (cell.lower() in NO_VALUE or number(cell) is not None)
        for i, cell in enumerate(cells)
    )


def _header(
    before: Sequence[tuple[int, Sequence[str]]], data: Sequence[str]
) -> tuple[list[str], list[str]]:
    """Return the names of the columns and, of a line of its own, their units."""
    fitting = [list(cells) for _, cells in before if abs(len(cells) - len(data)) <= 1]
    if not fitting:
        return [], []
    last = fitting[-1]
    if len(fitting) > 1 and _is_units(last):
        return fitting[-2], last
    return last, []


def _is_units(cells: Sequence[str]) -> bool:
    words = [cell.strip("()[] ") for cell in cells if cell.strip("()[] ")]
    known = sum(unit_meant(word) is not None for word in words)
    return known > 0 and known >= len(words) - 2  # the time may say its zone or its form


def _no_data(content: bytes) -> Invalid:
    begins = next((line.strip() for line in opened_text(content) if line.strip()), "")
    return Invalid(
        TITLE,
        [
            Fault(
                "file",
                begins[:80] or None,
                "has no line with a time and a number beside it",
                "Export it with one line a reading or a moment, separated by commas, semicolons "
                "or tabs, with times like 2026-11-25 14:05 or 11/25/2026 2:05 PM.",
            )
        ],
    )
