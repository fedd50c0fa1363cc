"""How people say days, times of day and spans, in their language; for pages and notices alike."""

from datetime import date, datetime, timedelta
from typing import Final, Protocol

_DAYS_NAMED: Final = 6
"""A weekday alone says which day is meant for this many days ahead."""
_NOON: Final = 12


class Speech(Protocol):
    """A language: says what is written in English here."""

    def say(self, text: str) -> str:
        """Say a sentence that was composed in English."""

    def words(self, message: str, /, **values: object) -> str:
        """Say a message with its values in it."""

    def weekday(self, day: date) -> str:
        """Return the short name of a day of the week."""

    def month(self, day: date) -> str:
        """Return the short name of a month."""


def day_words(local: datetime, *, today: date, speech: Speech) -> str:
    """Return a time's day as people say it: nothing for today, ``tomorrow``, ``Fri``."""
    days = (local.date() - today).days
    if days == 0:
        return ""
    if days in (1, -1):
        return speech.words("tomorrow" if days == 1 else "yesterday")
    if 1 < days <= _DAYS_NAMED:
        return speech.weekday(local)
    named = f"{speech.weekday(local)} {local.day} {speech.month(local)}"
    return named if local.year == today.year else f"{named} {local.year}"


def clock_words(local: datetime, *, units: str, space: str = " ", seconds: bool = False) -> str:
    """Return a time of day: ``2:40 am`` where units are ``us``, else ``02:40``."""
    ends = f":{local:%S}" if seconds else ""
    if units == "si":
        return f"{local:%H:%M}{ends}"
    return f"{local.hour % _NOON or _NOON}:{local:%M}{ends}{space}{half_of_day(local)}"


def half_of_day(local: datetime) -> str:
    """Return ``am`` or ``pm``."""
    return "am" if local.hour < _NOON else "pm"


def span_words(span: timedelta, *, speech: Speech, space: str = " ") -> str:
    """Return a span in its two largest parts: ``3 h 20 min``, ``2 days 5 h``; empty under 1 min."""
    minutes = int(span.total_seconds() // 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, minutes = divmod(rest, 60)
    parts = [f"{days}{space}{speech.words('day' if days == 1 else 'days')}"] if days else []
    parts += [f"{hours}{space}h"] if hours else []
    parts += [f"{minutes}{space}min"] if minutes and not days else []
    return " ".join(parts)
