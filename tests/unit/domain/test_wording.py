"""Sentences that carry quantities without choosing units."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.wording import (
    filled,
    mass,
    moment,
    plain,
    pressure,
    temperature,
    temperatures,
)

FIVE = datetime(2026, 2, 5, 11, 0, tzinfo=UTC)
CHICAGO = timezone(timedelta(hours=-6))

IMPERIAL = {
    "t": lambda c: f"{c * 1.8 + 32.0:.0f} °F",
    "d": lambda k: f"{k * 1.8:.0f} °F",
    "m": lambda kg: f"{kg / 0.45359237:.0f} lb",
    "p": lambda kpa: f"{kpa / 6.894757:.1f} psi",
}


def test_marks_are_filled_in_si_and_utc_where_nobody_chose():
    text = f"{temperature(10.0)}, {mass(250.0)}, {pressure(32.4)}, {moment(FIVE)}"

    assert plain(text) == "10.0 °C, 250.0 kg, 32 kPa, 2026-02-05T11:00Z"


def test_a_reader_gets_the_units_and_the_zone_of_their_own():
    text = f"Under {temperature(10.0)} since {moment(FIVE)}."
    read = filled(text, quantity=IMPERIAL, when=lambda w: f"{w.astimezone(CHICAGO):%H:%M}")

    assert read == "Under 50 °F since 05:00."


@pytest.mark.parametrize("fahrenheit", [50, 60, 65, 70, 75, 80, 85, 90, 120])
def test_limits_of_whole_degrees_are_still_whole_once_read(fahrenheit):
    text = temperature((fahrenheit - 32.0) / 1.8)

    assert filled(text, quantity=IMPERIAL, when=str) == f"{fahrenheit} °F"


@given(c=st.floats(-99.0, 199.0))
def test_a_temperature_survives_to_a_hundredth(c):
    (read,) = temperatures(f"at {temperature(c)}")

    assert read == pytest.approx(c, abs=0.0051)


@given(
    when=st.datetimes(
        min_value=datetime(2000, 1, 1),  # noqa: DTZ001 - the zone is added
        max_value=datetime(2999, 12, 31),  # noqa: DTZ001
    ),
    hours=st.integers(-12, 14),
)
def test_a_time_survives_in_whatever_zone_it_was_told(when, hours):
    told = when.replace(tzinfo=timezone(timedelta(hours=hours)))
    read = filled(moment(told), quantity=IMPERIAL, when=lambda w: w.astimezone(UTC).isoformat())

    assert datetime.fromisoformat(read) == told


@pytest.mark.parametrize(
    "typed",
    [
        "{t:}",
        "{t:warm}",
        "{t:1e999}",
        "{t:nan}",
        "{x:10}",
        "{w:2026-02-31T05:00:00+00:00}",
        "{w:yesterday}",
        "{t:10",
        "{}",
        "{{t}}",
        "{0.__class__}",
    ],
)
def test_what_people_typed_is_no_mark(typed):
    assert plain(typed) == typed


@given(text=st.text())
def test_any_text_can_be_filled(text):
    assert isinstance(plain(text), str)
