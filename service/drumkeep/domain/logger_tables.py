"""The table in a logger's download: which encoding, which separator, where the header stands.

Loggers' programs write a few lines of their own before the header, a second header with units,
semicolons where the comma is the decimal mark, and a byte order mark. What counts as data is a line
with a time and beside it a number or a word for none.
"""

import io
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Final

from drumkeep.domain.logger_times import looks_like_time
from drumkeep.domain.numerals import by_mark
from drumkeep.domain.text_files import text_of
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
        Line numbers from 1, each with its cells; blank lines are left out.
    """

    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[int, Sequence[str]], ...]


def read_table(content: bytes) -> LoggerTable:
    """Read a file into its table.

    Raises
    ------
    Invalid
        It is no text, or no line of it is a time with a value.
    """
    text = _text(content)
    begins = "".join(islice(io.StringIO(text, newline=None), _LOOKED_AT))
    separator, quotes = max(
        _WAYS, key=lambda way: sum(_is_data(cells) for _, cells in _split(begins, *way))
    )
    lines = _split(text, separator, quotes)
    first = next((i for i, (_, cells) in enumerate(lines) if _is_data(cells)), None)
    if first is None:
        raise _no_data(text)
    header, units = _header(lines[:first], lines[first][1])
    width = max(len(header), Counter(len(cells) for _, cells in lines[first:]).most_common(1)[0][0])
    header = [*header, *([""] * (width - len(header)))]
    return LoggerTable(
        columns=tuple(
            name.strip() or f"column {number}" for number, name in enumerate(header, start=1)
        ),
        units=(*units, *([""] * (width - len(units)))),
        rows=tuple(lines[first:]),
    )


@lru_cache(maxsize=16384)
def number(cell: str) -> tuple[Mapping[str, float], str] | None:
    """Read a number with what stands behind it, such as its unit; None if it is none.

    What it is worth is told by its decimal mark, as in :func:`drumkeep.domain.numerals.by_mark`.
    """
    found = _NUMBER.fullmatch(cell)
    worth = None if found is None else by_mark(found[1])
    return (worth, (found[2] or "").strip()) if found and worth else None


def _text(content: bytes) -> str:
    text = text_of(content)
    if "\0" in text:
        mend = "Export it as CSV or text from the logger's own program; a workbook is not read."
        raise Invalid(TITLE, [Fault("file", None, "is no text", mend)])
    return text


_WAYS: Final = [
    (separator, quotes) for quotes in (Quotes.MAYBE, Quotes.LETTERS) for separator in SEPARATORS
]
"""A quote that is never closed would swallow the rest of the file, so quotes may be letters too."""


def _split(text: str, separator: str, quotes: Quotes) -> list[tuple[int, list[str]]]:
    lines = []
    with suppress(BreaksOffError):  # then this is not how the file is to be read
        for line in lines_of_cells(text, separator=separator, quotes=quotes):
            lines.append(line)  # noqa: PERF402 - those before the break are wanted
    return lines


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


def _no_data(text: str) -> Invalid:
    begins = next((line.strip() for line in text.splitlines() if line.strip()), "")
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
