"""Times as loggers write them: ISO 8601, month or day first, named months, 12 hours, epoch.

A time without a zone is on the clock of the place. Where that clock is set back an hour comes
twice, and the order of the lines tells which is meant; where it is set forward an hour is missing.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.errors import Fault, Invalid

_DATE: Final = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})", re.ASCII)
_BASIC: Final = re.compile(r"(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)?(Z|[+-]\d\d:?\d\d)?", re.ASCII)
_WORDED: Final = re.compile(
    r"(?:[a-z]{3,9},?\s+)?(?:(\d{1,2})[-\s.]+([a-z]{3,9})|([a-z]{3,9})[-\s.]+(\d{1,2}))[-\s.,]+(\d{4}|\d\d)",
    re.ASCII | re.IGNORECASE,
)
_CLOCK: Final = re.compile(
    r"(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,](\d{1,9}))?)?\s*([ap])?(?:(?<=[apAP])\.?m\.?)?"
    r"\s*(z|utc|gmt|(?:utc|gmt)?[+-]\d\d?(?::?\d\d)?)?",
    re.ASCII | re.IGNORECASE,
)
_EPOCH: Final = re.compile(r"\d{9,10}(?:\.\d{1,9})?|\d{12,13}", re.ASCII)
_OFFSET: Final = re.compile(
    r"(?:utc|gmt)?\s*(?:([+-])(\d\d?)(?::?(\d\d))?)?", re.ASCII | re.IGNORECASE
)
_HEADER_ZONE: Final = re.compile(
    r"\b(?:utc|gmt)\b\s*(?:[+-]\s*\d\d?(?::?\d\d)?)?", re.ASCII | re.IGNORECASE
)

_MONTHS: Final = {
    name: number
    for number, name in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"),
        start=1,
    )
}
_MS_FROM: Final = 1e11
_CENTURY: Final = 2000
_TWO_DIGITS: Final = 100
_MOST_MONTHS: Final = 12
_NOON: Final = 12

EARLIEST: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""Before this no drum is on record, and a logger's clock that was never set shows its first day."""


class NoTime(Exception):
    """Why a text is no time that can be placed; with what to do about it."""

    def __init__(self, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.mend = mend


def looks_like_time(text: str) -> bool:
    """Whether a cell may hold a date, with or without its hour."""
    text = text.strip()
    if _EPOCH.fullmatch(text):
        return True
    found = _DATE.match(text) or _BASIC.match(text) or _WORDED.match(text)
    if found is None:
        return False
    rest = text[found.end() :].strip(" T,")
    return not rest or _CLOCK.fullmatch(rest) is not None


def looks_like_clock(text: str) -> bool:
    """Whether a cell may hold an hour without its date."""
    return _CLOCK.fullmatch(text.strip()) is not None


def zone_named(text: str, *, field: str = "zone") -> tzinfo:
    """Return a zone by its IANA name, or an offset such as ``UTC-06:00``.

    Raises
    ------
    Invalid
        There is no such zone.
    """
    offset = _offset(text)
    if offset is not None:
        return offset
    try:
        return ZoneInfo(text.strip())
    except (KeyError, ValueError, OSError):  # how zoneinfo says that it has none
        raise Invalid(
            "The zone is not known.",
            [
                Fault(
                    field,
                    text,
                    "is no time zone",
                    "Write one like America/Chicago, or UTC-06:00 for a logger that does not "
                    "change its clock.",
                )
            ],
        ) from None


def zone_in_header(name: str) -> tzinfo | None:
    """Return the offset that the name of a time column says: ``Date Time, GMT-06:00``."""
    found = _HEADER_ZONE.search(name)
    return None if found is None else _offset(found[0].replace(" ", ""))


def day_comes_first(texts: Iterable[str]) -> bool | None:
    """Return whether 5/11/2026 is the 5th of November; None while nothing in the file tells.

    Raises
    ------
    NoTime
        Some lines can only be read one way, and some only the other.
    """
    day = month = False
    for text in texts:
        found = _DATE.match(text.strip())
        if found is None or len(found[1]) > 2 or found[2] == ".":  # noqa: PLR2004 - a year of 4
            continue
        day = day or int(found[1]) > _MOST_MONTHS
        month = month or int(found[3]) > _MOST_MONTHS
    if day and month:
        raise NoTime(
            "is a date in a file that writes some with the day and some with the month first",
            "Export it again with one form of date.",
        )
    return day if day or month else None


def dates_either_way(first: str, second: str, year: str) -> tuple[str, str]:
    """Return a date that may be read two ways as both: with the month first, and with the day."""
    one, other = f"{int(first):02}", f"{int(second):02}"
    return f"{_year(year):04}-{one}-{other}", f"{_year(year):04}-{other}-{one}"


@dataclass
class LoggerClock:
    """Places the times of one file.

    Attributes
    ----------
    zone
        For times that say none; None where nobody knows.
    day_first
        Whether 5/11/2026 is the 5th of November.
    local, twice
        How many times said no zone, and how many of those lay in an hour that comes twice.
    """

    zone: tzinfo | None
    day_first: bool
    local: int = 0
    twice: int = 0
    _last: dict[str, float] = field(default_factory=dict, repr=False)

    def place(self, text: str, *, of: str) -> float:
        """Return epoch seconds of a time.

        Parameters
        ----------
        text
            As it stands in the file.
        of
            Whose lines follow one another: in an hour that comes twice the second pass begins
            where they would go back.

        Raises
        ------
        NoTime
            It is none, or the clock of the place never showed it.
        """
        naive, zone = _parsed(text.strip(), day_first=self.day_first)
        if isinstance(naive, float):
            seconds = naive
        elif zone is not None:
            seconds = naive.replace(tzinfo=zone).timestamp()
        else:
            seconds = self._local(naive, of)
        self._last[of] = seconds
        return seconds

    def _local(self, naive: datetime, of: str) -> float:
        if self.zone is None:
            mend = "Say on which clock the logger ran: a zone, or the site that it stood at."
            raise NoTime("says no zone", mend)
        self.local += 1
        first, second = (naive.replace(tzinfo=self.zone, fold=fold).timestamp() for fold in (0, 1))
        if first > second:
            raise NoTime(
                f"never was on the clock of {self.zone}, which was set forward then",
                "Give the zone that the logger keeps all year, like UTC-06:00.",
            )
        if first < second:
            self.twice += 1
            return second if first <= self._last.get(of, first - 1) else first
        return first


@lru_cache(maxsize=4096)
def _parsed(text: str, *, day_first: bool) -> tuple[datetime | float, tzinfo | None]:
    if _EPOCH.fullmatch(text):
        number = float(text)
        return (number / 1000 if number >= _MS_FROM else number), None
    try:
        if found := _BASIC.fullmatch(text):
            year, month, day, hour, minute, second = (int(n or 0) for n in found.groups()[:6])
            moment = datetime(year, month, day, hour, minute, second)  # noqa: DTZ001 - see below
            return moment, _offset(found[7]) if found[7] else None
        year, month, day, rest = _day(text, day_first=day_first)
        clock = _CLOCK.fullmatch(rest) if rest else None
        if rest and clock is None:
            raise _unread()
        if clock is None:
            return datetime(year, month, day), None  # noqa: DTZ001
        hour = int(clock[1])
        if clock[5]:
            if not 1 <= hour <= _NOON:
                raise _unread()
            hour = hour % _NOON + (_NOON if clock[5] in "pP" else 0)
        second = int(clock[3] or 0)
        micro = int((clock[4] or "0").ljust(6, "0")[:6])
        moment = datetime(year, month, day, hour % 24, int(clock[2]), second, micro)  # noqa: DTZ001
        if hour == 24 and not clock[5]:  # noqa: PLR2004 - ISO 8601: the end of a day
            moment += timedelta(days=1)
        elif hour > 23:  # noqa: PLR2004 - the last hour of a day
            raise _unread()
        return moment, _offset(clock[6]) if clock[6] else None
    except (ValueError, OverflowError):
        raise _unread() from None


def _day(text: str, *, day_first: bool) -> tuple[int, int, int, str]:
    if found := _DATE.match(text):
        first, second, third = found[1], found[3], found[4]
        if len(first) == 4:  # noqa: PLR2004 - a year
            year, month, day = int(first), int(second), int(third)
        elif found[2] == "." or day_first:  # with points the day is first everywhere
            day, month, year = int(first), int(second), _year(third)
        else:
            month, day, year = int(first), int(second), _year(third)
    elif found := _WORDED.match(text):
        name = (found[2] or found[3])[:3].lower()
        if name not in _MONTHS:
            raise _unread()
        year, month, day = _year(found[5]), _MONTHS[name], int(found[1] or found[4])
    else:
        raise _unread()
    return year, month, day, text[found.end() :].strip(" T,")


def _year(text: str) -> int:
    if len(text) not in (2, 4):
        raise _unread()
    year = int(text)
    return year + _CENTURY if year < _TWO_DIGITS else year


def _offset(text: str) -> timezone | None:
    if text.strip().upper() == "Z":
        return UTC
    found = _OFFSET.fullmatch(text.strip())
    if found is None or not text.strip():
        return None
    if found[1] is None:
        return UTC
    size = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
    if size >= timedelta(days=1):
        return None
    return timezone(-size if found[1] == "-" else size)


def _unread() -> NoTime:
    return NoTime(
        "is no time",
        "Times like 2026-11-25 14:05, 11/25/2026 2:05 PM, 25.11.2026 14:05 or epoch seconds are "
        "read; say if the day comes first.",
    )
