"""Which columns of a logger's table are the time, and which are of which sensor in which unit.

Wide files have a column a sensor, long ones a line a reading with its name. A column counts if
somebody says of which sensor it is, or if its header is that sensor's name.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Final

from drumkeep.domain.logger_tables import TITLE, LoggerTable
from drumkeep.domain.logger_times import looks_like_clock, looks_like_time
from drumkeep.domain.sensors import SENT, UNITS, Quantity
from drumkeep.domain.unit_words import as_sent, unit_meant
from drumkeep.errors import Fault, Invalid

FOR_ALL: Final = "*"
"""In place of a column: a unit for all that say none."""

UNIT_MEND: Final = "Use one of °C, °F, K, %RH, W/m2, %EL, V, mV, dBm."

_MOSTLY: Final = 0.8
_LISTED: Final = 12
_TIME_WORDS: Final = ("time", "date", "zeit", "datum", "fecha", "hora", "heure")
_NAMES: Final = frozenset({"name", "sensor", "probe", "channel", "tag", "device", "point", "n"})
_VALUES: Final = frozenset({"value", "reading", "measurement", "val", "v", "data"})
_UNIT_NAMES: Final = frozenset({"unit", "units", "uom", "u"})
_BRACKETS: Final = re.compile(r"[(\[]([^)\]]{1,20})[)\]]")
_LETTERS: Final = frozenset("cfkv")
"""Units of one letter: the last word of a header only where it speaks of temperature."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggerOptions:
    """What a person says of a file; what is left out is found.

    Attributes
    ----------
    site_zone
        For times that say none, where the header says none either; None where nobody knows.
    zone
        For times that say none, whatever the header says.
    day_first
        Whether 5/11/2026 is the 5th of November.
    time
        The column of the time.
    sensors
        Sensor's name by column, or by what a long file calls it.
    units
        Unit by column, or for all under :data:`FOR_ALL`.

    Columns go by their header, a part of it that no other has, or their number from 1.
    """

    site_zone: tzinfo | None
    zone: tzinfo | None = None
    day_first: bool | None = None
    time: str | None = None
    sensors: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ValueColumn:
    """Where values of a sensor stand; ``unit`` is SenML's or ``F``, None where none is said."""

    sensor: str
    column: int
    unit: str | None


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Where name, value and unit stand in a file with a line a reading."""

    name: int
    value: int
    unit: int | None


@dataclass(frozen=True, slots=True)
class Columns:
    """What the columns of a file are: ``hours`` where date and hour stand apart."""

    time: int
    hours: int | None
    long: LongColumns | None
    wide: tuple[ValueColumn, ...]


def find_columns(
    table: LoggerTable, *, options: LoggerOptions, quantities: Mapping[str, Quantity]
) -> Columns:
    """Find out what the columns are.

    Raises
    ------
    Invalid
        There is no time, no column of a sensor, or an option does not fit.
    """
    time = _time_column(table, options)
    hours = _hours_beside(table, time)
    long = _long_columns(table, time)
    wide = () if long else tuple(_wide_columns(table, options, quantities, time=time))
    return Columns(time, hours, long, wide)


def names_in(table: LoggerTable) -> set[str]:
    """Return what may be names of sensors in a file: headers, and the names of a long file."""
    found = set(table.columns)
    for column, header in enumerate(table.columns):
        if header.lower() in _NAMES:
            found |= {cell(row, column) for _, row in table.rows}
    return found - {""}


def said_of_column(text: str, *, field: str) -> tuple[str, str]:
    """Part ``COLUMN=NAME`` or ``COLUMN=UNIT``; a unit alone is said of all columns.

    Raises
    ------
    Invalid
        One of the two is missing.
    """
    # A header may have = in it; a sensor's name and a unit have none.
    column, mark, said = text.rpartition("=")
    if not mark and field == "unit":
        column = FOR_ALL
    if not column or not said.strip():
        mend = "Write COLUMN=NAME, such as Dock=urn:dev:ow:10e2073a01080063:temp; or COLUMN=F."
        raise Invalid(TITLE, [Fault(field, text, "names no column", mend)])
    return column, said.strip()


def cell(row: Sequence[str], column: int) -> str:
    """Return a cell; lines may end early."""
    return row[column] if column < len(row) else ""


def unit_for(word: str, quantity: Quantity | None) -> str | None:
    """Return the unit that a word means for what a sensor measures: a % may be of two things."""
    unit = unit_meant(word)
    if unit == UNITS[Quantity.HUMIDITY] and quantity is Quantity.BATTERY:
        return UNITS[Quantity.BATTERY]
    return unit


def _time_column(table: LoggerTable, options: LoggerOptions) -> int:
    if options.time is not None:
        return _column(table, options.time, field="time")
    columns = range(len(table.columns))
    fits = [c for c in columns if _share(_sample(table, c), looks_like_time) >= _MOSTLY]
    # A serial number may look like epoch seconds, so what is called a time comes first.
    called = [c for c in fits if any(word in table.columns[c].lower() for word in _TIME_WORDS)]
    if not fits:
        problem = f"is not to be found among the columns {_list(table.columns)}"
        raise Invalid(TITLE, [Fault("time", None, problem, "Name the column of the time.")])
    return (called or fits)[0]


def _hours_beside(table: LoggerTable, time: int) -> int | None:
    if any(":" in text or text.isdigit() for text in _sample(table, time)[:3]):
        return None
    beside = [c for c in (time + 1, time - 1) if 0 <= c < len(table.columns)]
    fits = [c for c in beside if _share(_sample(table, c), looks_like_clock) >= _MOSTLY]
    return fits[0] if fits else None


def _long_columns(table: LoggerTable, time: int) -> LongColumns | None:
    found: dict[str, int] = {}
    for what, words in (("name", _NAMES), ("value", _VALUES), ("unit", _UNIT_NAMES)):
        for column, header in enumerate(table.columns):
            if header.lower() in words and column != time:
                found.setdefault(what, column)
    if not {"name", "value"} <= found.keys():
        return None
    return LongColumns(found["name"], found["value"], found.get("unit"))


def _wide_columns(
    table: LoggerTable,
    options: LoggerOptions,
    quantities: Mapping[str, Quantity],
    *,
    time: int,
) -> list[ValueColumn]:
    of = {c: header for c, header in enumerate(table.columns) if header in quantities}
    of |= {_column(table, text, field="sensor"): sensor for text, sensor in options.sensors.items()}
    of.pop(time, None)
    if not of:
        problem = f"is not said for any of the columns {_list(table.columns)}"
        mend = "Say of which sensor a column is: COLUMN=NAME."
        raise Invalid(TITLE, [Fault("sensor", None, problem, mend)])
    said = {
        _column(table, text, field="unit"): unit
        for text, unit in options.units.items()
        if text != FOR_ALL
    }
    return [
        ValueColumn(sensor, column, _unit(table, column, said, options, quantities.get(sensor)))
        for column, sensor in sorted(of.items())
    ]


def _unit(
    table: LoggerTable,
    column: int,
    said: Mapping[int, str],
    options: LoggerOptions,
    quantity: Quantity | None,
) -> str | None:
    """Return the unit that is said of a column, else that of its header, else that said of all."""
    word = said.get(column)
    if word is None:
        return _unit_in_header(table, column, quantity) or unit_for_all(options, quantity)
    unit = unit_for(word, quantity)
    if unit is None:
        raise Invalid(TITLE, [Fault("unit", word, "is no unit that is known", UNIT_MEND)])
    return unit


def unit_for_all(options: LoggerOptions, quantity: Quantity | None) -> str | None:
    """Return the unit that is said of all, if it is one of what a sensor measures."""
    word = options.units.get(FOR_ALL)
    unit = None if word is None else unit_for(word, quantity)
    if word is not None and unit is None:
        raise Invalid(TITLE, [Fault("unit", word, "is no unit that is known", UNIT_MEND)])
    if unit is None or quantity is None:
        return unit
    return unit if SENT[as_sent(0.0, unit)[1]].quantity is quantity else None


def _unit_in_header(table: LoggerTable, column: int, quantity: Quantity | None) -> str | None:
    header = table.columns[column]
    words = [
        table.units[column].strip("()[] "),
        *reversed(_BRACKETS.findall(header)),
        *reversed(header.split(",")[1:]),
    ]
    last = re.split(r"[\s_]+", header)[-1]
    if last.lower() not in _LETTERS or "temp" in header.lower():
        words.append(last)
    for word in words:
        for part in (word.strip(), word.strip().split(" ")[0]):
            unit = unit_for(part, quantity)
            if unit is not None:
                return unit
    return None


def _column(table: LoggerTable, text: str, *, field: str) -> int:
    names = [name.lower() for name in table.columns]
    wanted = text.strip().lower()
    if wanted in names:
        return names.index(wanted)
    if wanted.isascii() and wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    partly = [c for c, name in enumerate(names) if wanted and wanted in name]
    if len(partly) == 1:
        return partly[0]
    problem = "is a part of several columns' names" if partly else "is no column"
    mend = f"Use one of {_list(table.columns)}, or its number from 1."
    raise Invalid(TITLE, [Fault(field, text, problem, mend)])


def _sample(table: LoggerTable, column: int) -> list[str]:
    return [text for _, row in table.sample if (text := cell(row, column))]


def _share(texts: Sequence[str], fits: Callable[[str], bool]) -> float:
    return sum(map(fits, texts)) / len(texts) if texts else 0.0


def _list(names: Sequence[str]) -> str:
    return ", ".join(map(repr, names[:_LISTED])) + (" …" if len(names) > _LISTED else "")
