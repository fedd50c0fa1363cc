"""Gateways whose clocks are wrong: since when, by how much, in words."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.readings import CLOCK_OFF
from drumkeep.domain.wording import moment

_DAY_S: Final = 86_400.0
_YEAR_S: Final = 365.25 * _DAY_S
_SPANS: Final = (
    (_YEAR_S, "about a year", "about {number} years"),
    (30.0 * _DAY_S, "about a month", "about {number} months"),
    (_DAY_S, "about a day", "about {number} days"),
    (3600.0, "about an hour", "about {number} hours"),
    (60.0, "about a minute", "about {number} minutes"),
)
"""Length of each unit in seconds, what one is called, and several."""

_NEARLY: Final = 0.9
"""Eleven months are told as a year: people look for the digit that is wrong."""
_NEVER_SET_S: Final = 20.0 * _YEAR_S


@dataclass(frozen=True, slots=True)
class ClockOff:
    """A gateway sends times that are refused.

    Attributes
    ----------
    ahead_s
        How far its clock seems ahead; negative when behind.
    since, at
        When it first and last sent such a time.
    """

    ahead_s: float
    since: datetime
    at: datetime


def clock_off(
    *, ahead_s: float | None, since: datetime | None, at: datetime | None, now: datetime
) -> ClockOff | None:
    """Return what is wrong with a gateway's clock; None when nothing was lately."""
    if ahead_s is None or since is None or at is None or now - at > CLOCK_OFF:
        return None
    return ClockOff(ahead_s, since, at)


def about(seconds: float) -> str:
    """Say a span in its largest unit: ``about a year``, ``about 11 minutes``."""
    for length, one, several in _SPANS:
        count = abs(seconds) / length
        if count >= _NEARLY:
            whole = max(round(count), 1)
            return one if whole == 1 else several.format(number=whole)
    return "less than a minute"


def clock_words(off: ClockOff) -> str:
    """Say what is wrong with a gateway's clock, and how to mend it, with marks for the times."""
    span = about(off.ahead_s)
    refused = f"Its readings are refused since {moment(off.since)}"
    if off.ahead_s > 0:
        return f"Its clock is off by {span}: it is ahead. {refused}. Set its clock."
    if off.ahead_s < -_NEVER_SET_S:
        return (
            f"Its clock is off by {span}: it was never set since it was switched on. {refused}. "
            "Set its clock, or let it reach a time server."
        )
    return (
        f"Its clock is off by {span}: it is behind, or it sends readings that old. {refused}. "
        "Set its clock; if it is right, have the old readings imported."
    )
