"""A million readings, or refusals, of one file at some 25 octets each: as objects they take 200."""

from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.readings import Reading, Rejection
from drumkeep.domain.sensors import Quantity

_QUANTITIES: Final = tuple(Quantity)


class Doubled(NamedTuple):
    """A second value of its sensor and time, and the line of the first."""

    reading: Reading
    first_line: int
    same: bool


class Share(NamedTuple):
    """What there is of one sensor: times in epoch ms, values in the unit of its quantity."""

    name: str
    quantity: Quantity
    readings: int
    first_ms: int
    last_ms: int
    low: float
    high: float


@dataclass
class ManyReadings:
    """Readings in columns: of each the sensor's place among the names, quantity, time and value."""

    _names: dict[str, int] = field(default_factory=dict)
    _sensors: "array[int]" = field(default_factory=lambda: array("i"))
    _kinds: "array[int]" = field(default_factory=lambda: array("b"))
    _times: "array[int]" = field(default_factory=lambda: array("q"))
    _values: "array[float]" = field(default_factory=lambda: array("d"))
    _lines: "array[int]" = field(default_factory=lambda: array("i"))

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._lines)

    def __iter__(self) -> Iterator[Reading]:
        """Yield them in order."""
        return iter(self[:]) if len(self) else iter(())

    def __getitem__(self, some: slice) -> tuple[Reading, ...]:
        """Return some of them as objects."""
        names = list(self._names)
        return tuple(
            Reading(names[sensor], _QUANTITIES[kind], ts_ms, value, line)
            for sensor, kind, ts_ms, value, line in zip(
                *(column[some] for column in self._columns()), strict=True
            )
        )

    def add(self, some: Sequence[Reading]) -> None:
        """Append readings."""
        for name, quantity, ts_ms, value, line in some:
            self._sensors.append(self._names.setdefault(name, len(self._names)))
            self._kinds.append(_QUANTITIES.index(quantity))
            self._times.append(ts_ms)
            self._values.append(value)
            self._lines.append(line)

    def take_doubled(self) -> Iterator[Doubled]:
        """Take out all but the first of each sensor and time, telling of them; order by lines."""
        if not self._lines:
            return
        sensors, times, values, lines = (
            np.frombuffer(column, dtype=column.typecode)
            for column in (self._sensors, self._times, self._values, self._lines)
        )
        order = np.lexsort((times, sensors))  # a stable sort: of the same key the first is first
        again = np.zeros(len(order), dtype=bool)
        again[1:] = (np.diff(times[order]) == 0) & (np.diff(sensors[order]) == 0)
        (places,) = np.nonzero(again)
        begins = np.maximum.accumulate(np.where(again, 0, np.arange(len(order))))
        for place in places:
            one, first = int(order[place]), int(order[begins[place]])
            (reading,) = self[one : one + 1]
            yield Doubled(reading, int(lines[first]), bool(values[one] == values[first]))
        kept = np.ones(len(order), dtype=bool)
        kept[order[places]] = False
        del again, begins, order
        by_line = np.argsort(lines, kind="stable")
        self._keep(by_line[kept[by_line]])

    def shares(self) -> list[Share]:
        """Return what there is of each sensor."""
        found = []
        sensors = np.frombuffer(self._sensors, dtype="i") if self._lines else np.empty(0, "i")
        for name, number in self._names.items():
            (mine,) = np.nonzero(sensors == number)
            if not len(mine):
                continue
            times = np.frombuffer(self._times, dtype="q")[mine]
            values = np.frombuffer(self._values, dtype="d")[mine]
            quantity = _QUANTITIES[self._kinds[int(mine[0])]]
            ends = int(times.min()), int(times.max())
            spread = float(values.min()), float(values.max())
            found.append(Share(name, quantity, len(mine), *ends, *spread))
        return found

    def outside(self, quantity: Quantity, *, low: float, high: float) -> tuple[int, Reading] | None:
        """Return how many values of a quantity lie outside of two, and the first; None if none."""
        if not self._lines:
            return None
        values = np.frombuffer(self._values, dtype="d")
        kinds = np.frombuffer(self._kinds, dtype="b")
        strange = (kinds == _QUANTITIES.index(quantity)) & ((values < low) | (values > high))
        (places,) = np.nonzero(strange)
        if not len(places):
            return None
        first = int(places[0])
        return len(places), self[first : first + 1][0]

    def upto(self, line: int) -> int:
        """Return how many are of a line or one before."""
        return _upto(self._lines, line)

    def _columns(self) -> "tuple[array[int], array[int], array[int], array[float], array[int]]":
        return self._sensors, self._kinds, self._times, self._values, self._lines

    def _keep(self, places: NDArray[np.intp]) -> None:
        if len(places) == len(self) and bool((np.diff(places) == 1).all()):
            return
        for name in ("_sensors", "_kinds", "_times", "_values", "_lines"):
            column = getattr(self, name)
            found = np.frombuffer(column, dtype=column.typecode)[places]
            setattr(self, name, array(column.typecode, found.tobytes()))


@dataclass
class ManyRejections:
    """Refusals in columns; what they have in common is kept once."""

    _reasons: dict[tuple[str, str, str], int] = field(default_factory=dict)
    _of: "array[int]" = field(default_factory=lambda: array("i"))
    _lines: "array[int]" = field(default_factory=lambda: array("i"))
    _values: list[object] = field(default_factory=list)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._lines)

    def __iter__(self) -> Iterator[Rejection]:
        """Yield them in order."""
        return iter(self[:])

    def __getitem__(self, some: slice) -> tuple[Rejection, ...]:
        """Return some of them as objects."""
        reasons = list(self._reasons)
        return tuple(
            Rejection(line, reasons[of][0], value, *reasons[of][1:])
            for line, of, value in zip(
                self._lines[some], self._of[some], self._values[some], strict=True
            )
        )

    def add(self, line: int, column: str, value: object, problem: str, mend: str) -> None:
        """Append one."""
        reason = column, problem, mend
        self._lines.append(line)
        self._of.append(self._reasons.setdefault(reason, len(self._reasons)))
        self._values.append(value)

    def sort(self) -> None:
        """Order them by their lines."""
        order = sorted(range(len(self)), key=self._lines.__getitem__)
        self._of = array("i", [self._of[place] for place in order])
        self._values = [self._values[place] for place in order]
        self._lines = array("i", [self._lines[place] for place in order])

    def upto(self, line: int) -> int:
        """Return how many are of a line or one before."""
        return _upto(self._lines, line)


def _upto(lines: "array[int]", line: int) -> int:
    return int(np.searchsorted(np.frombuffer(lines, dtype="i"), line, "right")) if lines else 0
