"""From a logger's download to readings, with what is refused by line and column."""

import json
import re
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from typing import Final

from drumkeep.domain.logger_columns import (
    UNIT_MEND,
    Columns,
    LoggerOptions,
    LongColumns,
    ValueColumn,
    cell,
    find_columns,
    unit_for,
    unit_for_all,
)
from drumkeep.domain.logger_marks import DecimalMarks, Unread
from drumkeep.domain.logger_tables import NO_VALUE, TITLE, LoggerTable
from drumkeep.domain.logger_times import (
    EARLIEST,
    LoggerClock,
    NoTime,
    dates_either_way,
    day_comes_first,
    zone_in_header,
)
from drumkeep.domain.many_readings import ManyReadings, ManyRejections
from drumkeep.domain.readings import AHEAD, plausible, sift
from drumkeep.domain.sensors import UNITS, Quantity
from drumkeep.domain.unit_words import as_sent
from drumkeep.errors import Fault, Invalid

_EITHER_WAY: Final = re.compile(r"(\d{1,2})[-/](\d{1,2})[-/](\d{4}|\d\d)\b", re.ASCII)

_AT_ONCE: Final = 5000
"""Rows or records of which more than their figures is held."""

_USUAL_C: Final = (-45.0, 90.0)
"""Beyond these no shed and no drum is on a day that goes well; taken, and told."""


@dataclass(frozen=True, slots=True)
class LoggerReadings:
    """What stands in a file.

    Attributes
    ----------
    readings
        In the order of their lines; ``index`` is the line, from 1. In columns, as are rejections,
        since a file may hold millions.
    rejections
        What is no reading; ``index`` is the line and ``field`` the column.
    columns
        Column of each sensor.
    doubled
        How often the same sensor, time and value came again within the file.
    empty
        Cells without a value: blank, dashes, or a word for none.
    unused
        Columns that are of no sensor.
    notes
        What was found and nobody said, as sentences.
    """

    readings: ManyReadings
    rejections: ManyRejections
    columns: Mapping[str, str]
    doubled: int
    empty: int
    unused: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Record:
    """A reading before it is sifted."""

    name: str
    unit: str | None
    value: float
    time: float
    index: int


class _Refused(Exception):
    """Why a cell is no reading."""

    def __init__(self, column: str, value: object, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.reason = (column, value, problem, mend)


def read_logger_file(
    table: LoggerTable,
    *,
    options: LoggerOptions,
    quantities: Mapping[str, Quantity],
    now: datetime,
) -> LoggerReadings:
    """Read the readings of a file.

    Parameters
    ----------
    table
        The file.
    options
        What is said of it.
    quantities
        What registered sensors measure, by name.
    now
        No reading is later.

    Raises
    ------
    Invalid
        An option does not fit the file, or it leaves open what only a person can say.
    """
    columns = find_columns(table, options=options, quantities=quantities)
    return _File(table, columns, options, quantities, now).read()


class _File:
    """One file while it is read."""

    def __init__(
        self,
        table: LoggerTable,
        columns: Columns,
        options: LoggerOptions,
        quantities: Mapping[str, Quantity],
        now: datetime,
    ) -> None:
        self._table = table
        self._columns = columns
        self._options = options
        self._quantities = quantities
        self._now = now
        self._marks = DecimalMarks()
        self._either: re.Match[str] | None = None
        self._clock = self._make_clock()
        self._rejections = ManyRejections()
        self._empty = self._doubled = 0
        self._named: dict[str, str] = {}

    def read(self) -> LoggerReadings:
        readings = ManyReadings()
        records = (one for line, row in self._oldest_first() for one in self._records(line, row))
        for name, some in _portions(records):
            # Their times were looked at: an import may reach as far back as there are drums.
            taken, rejections = sift(some, now=self._now, reach=self._now - EARLIEST)
            readings.add(taken)
            for told in rejections:
                line = told.index or 0
                self._refuse(line, self._named[name], told.value, told.problem, told.mend)
        for reading, first_line, same in readings.take_doubled():
            if same:
                self._doubled += 1
                continue
            problem = f"is a second value of its sensor and time (line {first_line} stays)"
            mend = "Give each sensor one value per time."
            column = self._named[reading.sensor_name]
            self._refuse(reading.index, column, reading.value, problem, mend)
        self._rejections.sort()
        return LoggerReadings(
            readings=readings,
            rejections=self._rejections,
            columns=self._named,
            doubled=self._doubled,
            empty=self._empty,
            unused=self._unused(),
            notes=(*self._of_clock(), *_of_extremes(readings)),
        )

    def _oldest_first(self) -> Iterable[tuple[int, Sequence[str]]]:
        """Turn the lines round if the newest comes first, as some loggers have it."""
        table = self._table
        clock = LoggerClock(UTC, day_first=self._clock.day_first)
        try:
            first, last = (
                clock.place(self._time(row), of="") for _, row in (table.sample[0], table.last)
            )
        except NoTime:
            return table.rows
        return table.rows if first <= last else _turned(table.rows)

    def _time(self, row: Sequence[str]) -> str:
        time = cell(row, self._columns.time)
        hours = self._columns.hours
        return time if hours is None else f"{time} {cell(row, hours)}"

    def _records(self, line: int, row: Sequence[str]) -> Iterator[_Record]:
        long = self._columns.long
        try:
            self._check_width(row)
            values = self._columns.wide if long is None else (self._long_value(row, long),)
            said = [one for one in values if cell(row, one.column).lower() not in NO_VALUE]
            self._empty += len(values) - len(said)
            if not any(row[c] for c in range(len(row)) if c != self._columns.time) and not said:
                return  # the last line of some: "End of data"
            # Lines without a value count too: they may be the first pass of an hour that comes
            # twice. Lines of a long file follow one another by sensor.
            seconds = self._placed(row, of="" if long is None else values[0].sensor)
        except _Refused as refused:
            self._refuse(line, *refused.reason)
            return
        for one in said:
            self._named.setdefault(one.sensor, self._table.columns[one.column])
            try:
                value, unit = self._value(row, one)
            except _Refused as refused:
                self._refuse(line, *refused.reason)
            else:
                yield _Record(one.sensor, unit, value, seconds, line)

    def _check_width(self, row: Sequence[str]) -> None:
        width = len(self._table.columns)
        if any(row[width:]):
            problem = f"are more cells than the header has ({width})"
            mend = "Export with semicolons or tabs where numbers are written with a comma."
            raise _Refused("line", len(row), problem, mend)

    def _long_value(self, row: Sequence[str], long: LongColumns) -> ValueColumn:
        name = cell(row, long.name)
        if not name:
            mend = "Write on each line of which sensor it is."
            raise _Refused(self._table.columns[long.name], None, "is empty", mend)
        sensor = self._options.sensors.get(name, name)
        quantity = self._quantities.get(sensor)
        word = self._options.units.get(name) or ("" if long.unit is None else cell(row, long.unit))
        unit = unit_for(word, quantity) if word else unit_for_all(self._options, quantity)
        if word and unit is None:
            raise _Refused("unit", word, "is no unit that is known", UNIT_MEND)
        return ValueColumn(sensor, long.value, unit)

    def _value(self, row: Sequence[str], of: ValueColumn) -> tuple[float, str]:
        """Return a value and its SenML unit."""
        column, text = self._table.columns[of.column], cell(row, of.column)
        try:
            values, word = self._marks.worth(text, column=of.column)
        except Unread as error:
            raise _Refused(column, text, error.problem, error.mend) from None
        quantity = self._quantities.get(of.sensor)
        unit = unit_for(word, quantity) if word else of.unit
        if word and unit is None:
            raise _Refused(column, text, "has a unit that is not known", UNIT_MEND)
        if unit is None and quantity not in {None, Quantity.TEMPERATURE}:
            unit = UNITS[quantity]  # people write these in one unit only
        if unit is None:
            mend = "Say °C or °F, as COLUMN=F, or write it into the header: Temp (°F)."
            raise Invalid(TITLE, [Fault("unit", column, "says no unit", mend)])
        sent = [as_sent(value, unit) for value in values]
        likely = [one for one in sent if plausible(*one)] if len(sent) > 1 else sent
        if len(likely) != 1:
            problem = f"reads two ways ({' or '.join(f'{value:g}' for value in values)})"
            mend = "Export it without a mark between thousands."
            raise _Refused(column, text, problem, mend)
        return likely[0]

    def _placed(self, row: Sequence[str], *, of: str) -> float:
        text = self._time(row)
        column = self._table.columns[self._columns.time]
        try:
            seconds = self._clock.place(text, of=of)
        except NoTime as error:
            raise _Refused(column, text, error.problem, error.mend) from None
        ahead = seconds > (self._now + AHEAD).timestamp()
        if ahead or seconds < EARLIEST.timestamp():
            problem = "lies in the future" if ahead else "lies before the year 2000"
            mend = "Check the logger's clock, the zone, and whether the day comes first."
            raise _Refused(column, text, problem, mend)
        return seconds

    def _refuse(self, line: int, column: str, value: object, problem: str, mend: str) -> None:
        self._rejections.add(line, column, value, problem, mend)

    def _make_clock(self) -> LoggerClock:
        column = self._table.columns[self._columns.time]
        try:
            day_first = day_comes_first(self._dates())
        except NoTime as error:
            if self._options.day_first is None:
                raise Invalid(TITLE, [Fault("time", column, error.problem, error.mend)]) from None
            day_first = None
        if self._options.day_first is not None:
            day_first = self._options.day_first
        if day_first is None and self._either is not None:
            one, other = dates_either_way(*self._either.groups())
            mend = "Say whether the day or the month comes first in this file."
            problem = f"may be {one} or {other}"
            raise Invalid(TITLE, [Fault("day_first", self._either[0], problem, mend)])
        zone = self._options.zone or zone_in_header(column) or self._options.site_zone
        return LoggerClock(zone, day_first=bool(day_first))

    def _dates(self) -> Iterator[str]:
        """Go through the file once: yield its dates, and learn of its decimal marks meanwhile."""
        long, wide = self._columns.long, self._columns.wide
        values = [long.value] if long else [one.column for one in wide]
        for line, row in self._table.rows:
            self._marks.look(line, row, columns=values)
            text = cell(row, self._columns.time)
            if self._either is None:
                found = _EITHER_WAY.match(text)
                if found is not None and int(found[1]) != int(found[2]):
                    self._either = found
            yield text

    def _of_clock(self) -> list[str]:
        clock, told = self._clock, []
        if clock.local:
            told.append(f"Times that say no zone were read on the clock of {clock.zone}.")
        if clock.twice:
            told.append(
                f"{clock.twice} values lie in an hour that came twice on the clock of "
                f"{clock.zone}. Where the lines go back in time the second pass begins; an hour "
                "that is there once counts as the first pass."
            )
        return told

    def _unused(self) -> tuple[str, ...]:
        if self._columns.long is not None:
            return ()
        used = {one.column for one in self._columns.wide}
        used |= {self._columns.time, self._columns.hours or self._columns.time}
        return tuple(name for c, name in enumerate(self._table.columns) if c not in used)


def _of_extremes(readings: ManyReadings) -> list[str]:
    low, high = _USUAL_C
    strange = readings.outside(Quantity.TEMPERATURE, low=low, high=high)
    if strange is None:
        return []
    count, first = strange
    told = (
        f"{count} temperatures lie below {low:g} °C or above {high:g} °C, the first of them "
        f"on line {first.index} ({first.value:.1f} °C). See that unit and decimal mark are right."
    )
    return [told]


def _portions(records: Iterator[_Record]) -> Iterator[tuple[str, list[_Record]]]:
    """Yield some of the records at a time, by sensor."""
    while some := list(islice(records, _AT_ONCE)):
        of: dict[str, list[_Record]] = defaultdict(list)
        for record in some:
            of[record.name].append(record)
        yield from of.items()


def _turned(rows: Iterable[tuple[int, Sequence[str]]]) -> Iterator[tuple[int, Sequence[str]]]:
    """Yield rows from the last to the first; they wait compressed, at a tenth of their file."""
    going = iter(rows)
    packed = []
    while part := list(islice(going, _AT_ONCE)):
        packed.append(zlib.compress(json.dumps(part).encode(), 1))
    for some in reversed(packed):
        yield from reversed(json.loads(zlib.decompress(some)))
