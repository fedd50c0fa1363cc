"""A forecast of a site's outdoor air, as uploaded: read, checked, and laid on a place's own air."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.checks import Checks
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.errors import Fault, Invalid

Floats = NDArray[np.float64]

FRESH: Final = timedelta(hours=24)
"""How long after its issue a forecast is used: services issue one at least twice a day."""

LONGEST_GAP: Final = timedelta(hours=3)
"""Between two points; a straight line over more would cut off a night's low."""

MOST_POINTS: Final = 1000
EARLY: Final = timedelta(minutes=5)
"""So much may the clock of who issued it be ahead of ours."""

OLDEST: Final = timedelta(days=30)

OWN_K: Final = 3.0
"""So much of what is between a place and its forecast is the forecast's error, and passes; the
rest is the place's own (a roof, sun on a box) and stays."""

LOWEST_C: Final = -60.0
HIGHEST_C: Final = 60.0

TITLE: Final = "The forecast cannot be used."

_MOST_FAULTS: Final = 20
_HEADER_MEND: Final = (
    "Begin with a line like time,temperature_c or time,temperature_f, then one line a point."
)
_ZONE_MEND: Final = "Write it with its zone, like 2026-01-31T06:00:00Z or 2026-01-31T01:00-05:00."
_UNIT: Final = re.compile(
    r"(?:t|temp|temperature)?[\s_]*[(\[]?\s*(?:°|deg)?\s*([cf])[)\]]?", re.IGNORECASE
)
_COLUMNS: Final = 2
_YEARS: Final = range(2000, 2101)


@dataclass(frozen=True)
class OutdoorForecast:
    """An uploaded forecast of a site's outdoor air: epoch seconds ascending, and °C."""

    issued_at: datetime
    at_s: Floats
    c: Floats

    def is_fresh(self, now: datetime) -> bool:
        """Whether it is used for what comes after ``now``."""
        covers = self.at_s[0] <= now.timestamp() < self.at_s[-1]
        return bool(now - self.issued_at <= FRESH and covers)

    def over(self, seconds: Floats) -> Floats:
        """Air at times, °C, by straight lines; NaN outside of it."""
        return np.interp(seconds, self.at_s, self.c, left=np.nan, right=np.nan)

    def at_place(self, seconds: Floats, *, present_c: float, passing: Floats) -> Floats:
        """Return the air of a place that follows the outdoors, °C.

        Parameters
        ----------
        seconds
            Epoch seconds, the present first.
        present_c
            The place's air now, °C.
        passing
            What is left at each time of an error of 1 K now.
        """
        outdoors = self.over(seconds)
        gap = present_c - outdoors[0]
        error = float(np.clip(gap, -OWN_K, OWN_K))
        return np.asarray(outdoors + (gap - error) + error * passing, dtype=np.float64)


@dataclass(frozen=True)
class ForecastPoint:
    """Outdoor air at a time, °C; ``name`` is where it stands in what was sent."""

    at: datetime
    c: float
    name: str


def checked(
    points: Sequence[ForecastPoint], *, issued_at: datetime, now: datetime
) -> OutdoorForecast:
    """Check an upload and return the forecast.

    Parameters
    ----------
    points
        In order of time.
    issued_at
        When it was issued.
    now
        The present, UTC.

    Raises
    ------
    Invalid
        Naming each point that is out of order, after a gap, or out of range.
    """
    checks = Checks()
    if not _COLUMNS <= len(points) <= MOST_POINTS:
        mend = f"Send 2 to {MOST_POINTS} points, one an hour."
        checks.add("points", len(points), "is not a usable number of points", mend)
        checks.raise_faults(TITLE)
    if not now - OLDEST <= issued_at <= now + EARLY:
        mend = "Give the time at which it was issued: not in the future, at most 30 days ago."
        checks.add("issued_at", issued_at.isoformat(), "is out of range", mend)
    for point in points:
        checks.within(f"{point.name}.c", point.c, low=LOWEST_C, high=HIGHEST_C, unit="°C")
    for before, point in pairwise(points):
        name, value = f"{point.name}.at", point.at.isoformat()
        if point.at <= before.at:
            checks.add(name, value, "is not after the point before it", "Sort them by time.")
        elif point.at - before.at > LONGEST_GAP:
            gap = (point.at - before.at) / timedelta(hours=1)
            mend = "Give a point at least every three hours, best every hour."
            checks.add(name, value, f"comes {gap:.1f} h after the point before it", mend)
    if points[-1].at <= now:
        mend = "Send one that reaches past the present."
        checks.add(f"{points[-1].name}.at", points[-1].at.isoformat(), "is over", mend)
    del checks.faults[_MOST_FAULTS:]
    checks.raise_faults(TITLE)
    return OutdoorForecast(
        issued_at=issued_at,
        at_s=np.array([p.at.timestamp() for p in points], dtype=np.float64),
        c=np.array([p.c for p in points], dtype=np.float64),
    )


def from_csv(text: str) -> list[ForecastPoint]:
    """Read points from CSV: a column of times and one of temperatures, °C or °F by its header.

    Raises
    ------
    Invalid
        Naming lines that cannot be read.
    """
    lines = csv.reader(io.StringIO(text.removeprefix("\ufeff")))
    try:
        rows = [
            (number, [cell.strip() for cell in row])
            for number, row in enumerate(lines, start=1)
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        where = f"lines.{lines.line_num}"
        unread = Fault(where, None, f"is not CSV: {error}", _HEADER_MEND)
        raise Invalid(TITLE, [unread]) from None
    if not rows:
        raise Invalid(TITLE, [Fault("lines.1", None, "is missing", _HEADER_MEND)])
    first, header = rows[0]
    unit = _UNIT.fullmatch(header[1]) if len(header) == _COLUMNS else None
    if unit is None or header[0].lower() not in ("time", "at"):
        value = ",".join(header)
        raise Invalid(TITLE, [Fault(f"lines.{first}", value, "is no such header", _HEADER_MEND)])
    in_fahrenheit = unit[1].lower() == "f"
    points, faults = [], []
    for number, row in rows[1:]:
        fault = _fault_of(row)
        if fault is not None:
            faults.append(Fault(f"lines.{number}", ",".join(row), *fault))
            continue
        at, told = datetime.fromisoformat(row[0]).astimezone(UTC), float(row[1])
        c = celsius_from_fahrenheit(told) if in_fahrenheit else told
        points.append(ForecastPoint(at=at, c=c, name=f"lines.{number}"))
    if faults:
        raise Invalid(TITLE, faults[:_MOST_FAULTS])
    return points


def _fault_of(row: Sequence[str]) -> tuple[str, str] | None:
    """Return what is wrong with a line, and how to mend it."""
    if len(row) != _COLUMNS:
        return "has not two columns", "Write a time, a comma and a temperature."
    try:
        at = datetime.fromisoformat(row[0])
    except ValueError:
        return "has no time in its first column", _ZONE_MEND
    if at.tzinfo is None:
        return "has a time without a zone", _ZONE_MEND
    if at.year not in _YEARS:
        return "has a time that is out of range", "Give a time from 2000 to 2100."
    try:
        value = float(row[1])
    except ValueError:
        return "has no number in its second column", "Write a temperature like -7.5."
    return None if np.isfinite(value) else ("is not finite", "Write a temperature like -7.5.")
