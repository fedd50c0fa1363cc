"""Real outdoor air: hourly weather that ships inside pvlib, moved by whole days to now.

The file is a typical year, TMY3 723170 (Greensboro, North Carolina): hourly values whose label is
the end of the hour, 01:00 to 24:00, local standard time. Its months come from different years, so
only the hour counts of a label, never the year. pvlib itself is never imported.
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.errors import Unavailable

FILE: Final = "723170TYA.CSV"
ROWS: Final = 8760

SETTLED: Final = timedelta(hours=2)
"""An anchor lies at least this far back, so that what it led to can be seen."""

_LABEL: Final = ("Date (MM/DD/YYYY)", "Time (HH:MM)")
_AIR: Final = "Dry-bulb (C)"
_DAMP: Final = "RHum (%)"


@dataclass(frozen=True)
class Spell:
    """A stretch of the year that is moved: one row of it and the clock that it is moved to.

    Attributes
    ----------
    row
        Index of the row, 0 for the first hour of the year.
    label
        Its day and hour in the file, by which a changed file is noticed.
    clock
        The hour of the day that the label says.
    """

    row: int
    label: str
    clock: time


COLD_NIGHT: Final = Spell(row=844, label="02/05 05:00", clock=time(5))
"""The coldest hour of the year, -16.7 °C, in its coldest 72 h (rows 800 to 871)."""

HOT_AFTERNOON: Final = Spell(row=4549, label="07/09 14:00", clock=time(14))
"""The hottest hour of the year, 35.6 °C, in its hottest 72 h (rows 4540 to 4611)."""


@dataclass(frozen=True)
class Hour:
    """Outdoor air at one moment: °C and % relative humidity."""

    at: datetime
    air_c: float
    damp_rh: float


def read_year() -> list[tuple[str, float, float]]:
    """Return label (``MM/DD HH:MM``), °C and %RH of each hour of the typical year.

    Raises
    ------
    Unavailable
        The file is not there, or is another one than the scenario was made for.
    """
    file = _find()
    try:
        with file.open(encoding="utf-8", newline="") as lines:
            next(lines)  # the station
            year = [_hour(row) for row in csv.DictReader(lines)]
    except (OSError, KeyError, ValueError, StopIteration) as error:
        raise Unavailable(f"The weather file {file} cannot be read: {error!r}.") from error
    for spell in (COLD_NIGHT, HOT_AFTERNOON):
        if len(year) != ROWS or year[spell.row][0] != spell.label:
            raise Unavailable(
                f"The weather file {file} is not the one that the demo was made for. "
                "Install the release of pvlib that deploy/constraints.txt names."
            )
    return year


def _find() -> Path:
    # Found, never imported: pvlib is installed without its dependencies.
    spec = find_spec("pvlib")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        file = Path(folder) / "data" / FILE
        if file.is_file():
            return file
    raise Unavailable(
        "The demo's outdoor air is missing: it is a file of pvlib. Install that with "
        "pip install --no-deps pvlib, or start the demo with sh deploy/demo.sh."
    )


def _hour(row: dict[str, str]) -> tuple[str, float, float]:
    day, hour = (row[name] for name in _LABEL)
    return f"{day[:5]} {hour}", float(row[_AIR]), float(row[_DAMP])


def latest(clock: time, *, zone: ZoneInfo, now: datetime) -> datetime:
    """Return the latest moment, UTC, at which local clocks showed a time and that has settled."""
    day: date = (now - SETTLED).astimezone(zone).date()
    moment = datetime.combine(day, clock, tzinfo=zone)
    if moment > now - SETTLED:
        moment = datetime.combine(day - timedelta(days=1), clock, tzinfo=zone)
    return moment.astimezone(UTC)


def moved(
    year: Sequence[tuple[str, float, float]],
    *,
    spell: Spell,
    anchor: datetime,
    start: datetime,
    end: datetime,
) -> list[Hour]:
    """Return the hours of the year around a spell, moved so that its row falls on the anchor.

    Parameters
    ----------
    year
        From :func:`read_year`.
    spell
        What is moved; hours before and after it keep their distance.
    anchor
        Where its row comes to lie: the same hour of a day, so that all moves by whole days.
    start, end
        From the hour at or before the one to the hour at or after the other.
    """
    hour = timedelta(hours=1)
    first = (start - anchor) // hour
    last = -((anchor - end) // hour)
    hours = []
    for offset in range(first, last + 1):
        _, air, damp = year[(spell.row + offset) % len(year)]
        hours.append(Hour(anchor + offset * hour, air, damp))
    return hours
