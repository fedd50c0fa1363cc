"""Lines of cells in a text that a person's program wrote: separators, quotes, blank lines."""

import csv
from collections.abc import Iterable, Iterator
from enum import Enum
from typing import Final

SEPARATORS: Final = ("\t", ";", "|", ",")
"""Where two fit equally well the earlier counts: a comma may stand inside of numbers and texts."""


class Quotes(Enum):
    """What a quotation mark is.

    Spreadsheets write them around a cell that holds the separator, so one that is not closed is a
    damaged file, and rows might be lost in it. Loggers write them for inches and minutes of arc,
    close them or not, and put blanks before them: what such a file means is found by trying.
    """

    AROUND_CELLS = "a spreadsheet's: never left open"
    MAYBE = "a logger's: around cells, or a letter where it is never closed"
    LETTERS = "a letter like any other"


class BreaksOffError(Exception):
    """A cell does not end; with the line where the row began."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(why)
        self.line = line


def lines_of_cells(
    text: Iterable[str], *, separator: str, quotes: Quotes
) -> Iterator[tuple[int, list[str]]]:
    """Yield each line that is not blank: its number from 1, and its cells without blanks around.

    Parameters
    ----------
    text
        Its lines with their ends, such as a file opened with ``newline=""`` gives them.
    separator, quotes
        How cells are told apart.

    Raises
    ------
    BreaksOffError
        A cell does not end.
    """
    reader = csv.reader(
        text,
        delimiter=separator,
        quoting=csv.QUOTE_NONE if quotes is Quotes.LETTERS else csv.QUOTE_MINIMAL,
        skipinitialspace=quotes is not Quotes.AROUND_CELLS,
        strict=quotes is Quotes.AROUND_CELLS,
    )
    begins = 1
    try:
        for cells in reader:
            tidy = [cell.strip() for cell in cells]
            if any(tidy):
                yield begins, tidy
            begins = reader.line_num + 1
    except csv.Error as error:
        raise BreaksOffError(begins, str(error)) from None
