"""The times of the story: all hang on the demo's first start and on the weather moved to it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.demo.weather import COLD_NIGHT, HOT_AFTERNOON, latest

COLD_ZONE: Final = "America/New_York"
HOT_ZONE: Final = "America/Chicago"

HISTORY: Final = timedelta(days=5)
AHEAD: Final = timedelta(days=12)
"""How far the curves go on after the first start; then their last day comes again and again."""


@dataclass(frozen=True)
class Timetable:
    """When the story happens, UTC.

    Attributes
    ----------
    begun
        The demo's first start.
    coldest, hottest
        Where the coldest and the hottest hour of the year were moved to.
    """

    begun: datetime
    coldest: datetime
    hottest: datetime

    @classmethod
    def of(cls, begun: datetime) -> "Timetable":
        """Make the timetable of a demo that was first started then."""
        return cls(
            begun=begun,
            coldest=latest(COLD_NIGHT.clock, zone=ZoneInfo(COLD_ZONE), now=begun),
            hottest=latest(HOT_AFTERNOON.clock, zone=ZoneInfo(HOT_ZONE), now=begun),
        )

    @property
    def start(self) -> datetime:
        """When the first reading was taken."""
        return self.begun - HISTORY

    @property
    def end(self) -> datetime:
        """How far the curves go."""
        return self.begun + AHEAD


When = Callable[[Timetable], datetime]
"""A time of the story."""


def ago(hours: float) -> When:
    """So many hours before the first start."""
    return lambda timetable: timetable.begun - timedelta(hours=hours)


def that_night(hour: int) -> When:
    """Give an hour of the clock in the coldest night."""

    def when(timetable: Timetable) -> datetime:
        zone = ZoneInfo(COLD_ZONE)
        day = timetable.coldest.astimezone(zone).date()
        return datetime.combine(day, time(hour), tzinfo=zone).astimezone(UTC)

    return when


def morning(*, after_hours: float, zone: str) -> When:
    """Six in the morning of the first day that is at least so many hours ahead."""

    def when(timetable: Timetable) -> datetime:
        earliest = (timetable.begun + timedelta(hours=after_hours)).astimezone(ZoneInfo(zone))
        day = earliest.date()
        found = datetime.combine(day, time(6), tzinfo=earliest.tzinfo)
        if found < earliest:
            found = datetime.combine(day + timedelta(days=1), time(6), tzinfo=earliest.tzinfo)
        return found.astimezone(UTC)

    return when


def in_hours(hours: float) -> When:
    """So many hours after the first start, on the full hour."""

    def when(timetable: Timetable) -> datetime:
        moment = timetable.begun + timedelta(hours=hours)
        return moment.replace(minute=0, second=0, microsecond=0)

    return when
