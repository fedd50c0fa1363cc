"""The five-minute UTC grid."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.grid import from_ms, moment_of, step_at, step_at_ms, to_ms

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
moments = st.datetimes(
    min_value=datetime(2000, 1, 1),  # noqa: DTZ001 - the zone is added
    max_value=datetime(2100, 1, 1),  # noqa: DTZ001
).map(lambda moment: moment.replace(tzinfo=UTC))


@pytest.mark.parametrize(
    ("seconds", "step"), [(0, 0), (299.999, 0), (300, 1), (-0.001, -1), (86_400, 288)]
)
def test_a_step_begins_every_five_minutes_of_utc(seconds, step):
    assert step_at(EPOCH + timedelta(seconds=seconds)) == step


@given(moment=moments)
def test_a_moment_lies_within_its_step(moment):
    step = step_at(moment)

    assert moment_of(step) <= from_ms(to_ms(moment))
    assert from_ms(to_ms(moment)) < moment_of(step) + timedelta(minutes=5)


@given(moment=moments, hours=st.integers(-12, 14))
def test_the_zone_in_which_a_moment_is_told_makes_no_difference(moment, hours):
    elsewhere = moment.astimezone(timezone(timedelta(hours=hours)))

    assert step_at(elsewhere) == step_at(moment)


@given(ms=st.integers(0, 4_000_000_000_000))
def test_milliseconds_survive_the_way_there_and_back(ms):
    assert to_ms(from_ms(ms)) == ms
    assert step_at_ms(ms) == step_at(from_ms(ms))
