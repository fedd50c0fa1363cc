"""Indoor air against closed forms and a published vapour pressure."""

import math
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.demo.climate import (
    STEP,
    Outdoors,
    beside,
    damp_in,
    held,
    lagging,
    open_air,
    outdoors,
)
from drumkeep.demo.weather import Hour

BEGIN = datetime(2026, 2, 4, tzinfo=UTC)


def weather(air_c, damp_rh=50.0) -> Outdoors:
    count = len(air_c)
    return Outdoors([BEGIN + i * STEP for i in range(count)], list(air_c), [damp_rh] * count)


def test_between_hours_lie_straight_lines():
    hours = [Hour(BEGIN + timedelta(hours=i), air, 50.0) for i, air in enumerate((0.0, 6.0, 3.0))]

    found = outdoors(hours)

    assert len(found.times) == 24
    assert (found.air_c[0], found.air_c[6], found.air_c[12]) == (0.0, 3.0, 6.0)
    assert found.times[7] - found.times[6] == timedelta(minutes=5)


def test_a_closed_box_is_warmer_by_what_leaks_into_it():
    assert open_air(plus_k=4.0)(weather([-16.7, -10.0])) == pytest.approx([-12.7, -6.0])


# Step response of a first-order lag: 1 - exp(-t/tau).
def test_a_place_lags_as_a_first_order_one():
    steps = 12 * 10
    found = lagging(hours=4.0)(weather([0.0] + [10.0] * steps))

    expected = [10.0 * (1.0 - math.exp(-i / 12 / 4.0)) for i in range(steps + 1)]
    assert found == pytest.approx(expected)


def test_a_thermostat_ripples_about_its_set_point():
    found = held(27.0, ripple_k=0.5, minutes=60.0)(weather([-10.0] * 12 * 24))

    assert sum(found) / len(found) == pytest.approx(27.0, abs=0.01)
    assert [min(found), max(found)] == pytest.approx([26.5, 27.5])


def test_a_neighbour_warms_by_its_share():
    found = beside(heated_c=16.0, share=0.75, hours=1.0, ripple_k=0.0)(weather([-8.0] * 100))

    assert found == pytest.approx([0.75 * 16.0 + 0.25 * -8.0] * 100)


def test_the_same_vapour_is_drier_where_it_is_warmer():
    outside = weather([0.0], damp_rh=80.0)

    (within,) = damp_in(open_air(plus_k=20.0))(outside)

    # Saturation 6.11 hPa at 0 and 23.37 hPa at 20 degrees (WMO tables).
    assert within == pytest.approx(80.0 * 6.11 / 23.37, rel=0.005)


def test_humidity_at_the_outdoors_own_temperature_is_the_outdoors_own():
    assert damp_in(open_air())(weather([12.0], damp_rh=63.0)) == pytest.approx([63.0])
