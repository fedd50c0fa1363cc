"""Which decimal mark the columns of a logger's table have: told by all of their cells."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from drumkeep.domain.logger_tables import number
from drumkeep.domain.numerals import COMMA, POINT


class Unread(Exception):
    """Why a cell is no number that can be taken, with what to do about it."""

    def __init__(self, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.mend = mend


@dataclass
class DecimalMarks:
    """The decimal marks that were seen: by column and mark, the first line and cell."""

    _seen: dict[int, dict[str, tuple[int, str]]] = field(default_factory=dict)

    def look(self, line: int, row: Sequence[str], *, columns: Iterable[int]) -> None:
        """Learn from the cells of a line."""
        for column in columns:
            cell = row[column] if column < len(row) else ""
            found = number(cell)
            if found is not None and len(found[0]) == 1:
                (mark,) = found[0]
                self._seen.setdefault(column, {}).setdefault(mark, (line, cell))

    def worth(self, cell: str, *, column: int) -> tuple[tuple[float, ...], str]:
        """Return what a cell may be worth, and the unit behind it.

        Two values where only something else can tell, such as which of them is plausible.

        Raises
        ------
        Unread
            It is no number, or its column has it both ways.
        """
        found = number(cell)
        if found is None:
            mend = "Write a number, or leave the cell empty where there is none."
            raise Unread("is no number", mend)
        by_mark, word = found
        values = tuple(dict.fromkeys(by_mark.values()))
        marks = self._marks(column)
        if len(values) == len(by_mark) and len(marks) > 1:
            (one, first), (other, second) = (self._seen[column][mark] for mark in (POINT, COMMA))
            raise Unread(
                "stands in a column that has numbers with a decimal point and others with a "
                f"decimal comma ({first} on line {one}, {second} on line {other})",
                "Export it again with one decimal mark, or write these numbers with the same one.",
            )
        if len(values) == 1:
            return values, word
        for mark in marks:
            return (by_mark[mark],), word
        # Where nothing tells, a lone point is what it is in nearly all files; a comma may be both.
        return (values if COMMA in cell else (by_mark[POINT],)), word

    def _marks(self, column: int) -> set[str]:
        """Return the marks of a column; where none of its cells tells, those of all others."""
        own = self._seen.get(column)
        if own:
            return set(own)
        others = {mark for seen in self._seen.values() for mark in seen}
        return others if len(others) == 1 else set()
