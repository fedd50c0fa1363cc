"""A clock that is wrong is told of in words that name the wrong digit."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.gateway_clocks import ClockOff, about, clock_off, clock_words
from drumkeep.domain.wording import plain

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
DAY = 86_400.0


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (20, "less than a minute"),
        (11 * 60, "about 11 minutes"),
        (3600, "about an hour"),
        (-2 * DAY, "about 2 days"),
        (-91 * DAY, "about 3 months"),
        (365 * DAY, "about a year"),
        (-330 * DAY, "about a year"),
        (-56 * 365.25 * DAY, "about 56 years"),
    ],
)
def test_a_span_is_told_in_its_largest_unit(seconds, words):
    assert about(seconds) == words


def test_who_is_ahead_who_is_behind_and_who_was_never_set_hear_different_mends():
    def told(ahead_s):
        return plain(clock_words(ClockOff(ahead_s, since=NOW, at=NOW)))

    assert told(365 * DAY) == (
        "Its clock is off by about a year: it is ahead. "
        "Its readings are refused since 2026-02-05T12:00Z. Set its clock."
    )
    assert "behind, or it sends readings that old" in told(-365 * DAY)
    assert "imported" in told(-365 * DAY)
    assert "never set" in told(-56 * 365 * DAY)


def test_a_wrong_time_is_told_of_for_six_hours():
    def off(at):
        return clock_off(ahead_s=900.0, since=NOW - timedelta(days=1), at=at, now=NOW)

    assert off(NOW - timedelta(hours=6)) == ClockOff(
        900.0, NOW - timedelta(days=1), NOW - timedelta(hours=6)
    )
    assert off(NOW - timedelta(hours=6, seconds=1)) is None
    assert clock_off(ahead_s=None, since=None, at=None, now=NOW) is None
