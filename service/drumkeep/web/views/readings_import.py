"""A logger's download as the page shows it: its columns, and what would become of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Final

from drumkeep.domain.logger_columns import cell
from drumkeep.domain.logger_tables import LoggerTable, read_table
from drumkeep.domain.logger_times import looks_like_time
from drumkeep.domain.sensors import What
from drumkeep.errors import Invalid
from drumkeep.operations.readings_import import ImportReport
from drumkeep.storage import alarm_sources, catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.views.sensors import MEASURES
from drumkeep.web.views.strays import reading_words

_SAMPLES: Final = 3
_LISTED: Final = 100_000
_MOST_COLUMNS: Final = 60

UNITS: Final = ("°C", "°F", "K", "%RH", "W/m2", "%EL", "V", "mV", "dBm")


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnView:
    """One column with its first cells, and what was chosen for it.

    ``key`` is its number from 1, by which the form speaks of it; ``is_time`` whether it holds times
    and so is of no sensor.
    """

    key: str
    name: str
    samples: tuple[str, ...]
    is_time: bool
    sensor: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareView:
    """What a file holds of one sensor."""

    name: str
    column: str
    readings: int
    first_at: datetime
    last_at: datetime
    low: str
    high: str


def column_views(content: bytes, *, given: Mapping[str, str]) -> tuple[ColumnView, ...]:
    """Return the columns of a file; none if it cannot be read."""
    try:
        table = read_table(content)
    except Invalid:
        return ()
    return tuple(
        ColumnView(
            key=str(number),
            name=name,
            samples=tuple(_first(table, number - 1)),
            is_time=any(map(looks_like_time, _first(table, number - 1))),
            sensor=given.get(f"sensor-{number}", ""),
            unit=given.get(f"unit-{number}", ""),
        )
        for number, name in enumerate(table.columns[:_MOST_COLUMNS], start=1)
    )


def share_views(report: ImportReport, *, formats: Formats) -> tuple[ShareView, ...]:
    """Return what a file holds of each sensor in the person's units."""
    return tuple(
        ShareView(
            name=share.name,
            column=share.column,
            readings=share.readings,
            first_at=share.first_at,
            last_at=share.last_at,
            low=reading_words(share.low, share.quantity, formats=formats),
            high=reading_words(share.high, share.quantity, formats=formats),
        )
        for share in report.sensors
    )


def sensor_choices(tx: Tx) -> list[tuple[str, str]]:
    """Return every sensor as (name, where it hangs and its name)."""
    hung = {
        one.name: f"{MEASURES[What(one.what)]}, {one.place_name or f'drum {one.drum}'}"
        for one in alarm_sources.mounted_sensors(tx)
    }
    names = [row.name for row in catalogue.list_sensors(tx, limit=_LISTED)]
    choices = [(name, f"{hung[name]}: {name}" if name in hung else name) for name in names]
    return sorted(choices, key=lambda one: (one[0] not in hung, one[1]))


def _first(table: LoggerTable, column: int) -> list[str]:
    return [cell(row, column) for _, row in islice(table.rows, _SAMPLES)]
