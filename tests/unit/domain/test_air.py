"""Air of a place: median of what is trusted, straight lines over short gaps, doubt over long."""

from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.air import (
    NEVER_SEEN_HIGH_C,
    NEVER_SEEN_LOW_C,
    NO_SENSOR_K,
    place_air,
)
from drumkeep.domain.grid import to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensor_series import SensorSeries
from tests.builders.past import FIRST, at, joined, ms_of, readings, step

HOUR = 12  # steps


def air(*series, kind=PlaceKind.WAREHOUSE, first_h=0.0, last_h=12.0, week=(-9.0, 31.0)):
    return place_air(
        series,
        kind=kind,
        first=step(first_h),
        last=step(last_h),
        extremes=lambda _ms: week,
    )


def hours(found):
    return (np.arange(len(found.likely)) + found.first - FIRST) / HOUR


def test_readings_on_the_grid_are_the_air():
    found = air(readings(lambda h: 10.0 + h, first_h=0.0, last_h=12.0))

    assert found.likely == pytest.approx(10.0 + hours(found))
    assert (found.low == found.likely).all()
    assert (found.high == found.likely).all()
    assert found.known.all()


def test_straight_lines_join_readings_off_the_grid():
    series = SensorSeries(
        ts_ms=np.array([to_ms(at(0.0)) + 61_000, to_ms(at(1.0)) + 61_000]),
        value_c=np.array([10.0, 22.0]),
        interval_s=3600.0,
        error_k=0.5,
    )
    found = air(series, last_h=1.0)

    assert found.window(first=step(0.5), last=step(0.5))[0] == pytest.approx(
        10.0 + 12.0 * (1800.0 - 61.0) / 3600.0
    )


def test_the_median_lets_no_single_sensor_have_its_way():
    found = air(
        readings(10.0, first_h=0.0, last_h=12.0),
        readings(11.0, first_h=0.0, last_h=12.0),
        readings(14.0, first_h=0.0, last_h=12.0),
    )

    assert (found.likely == 11.0).all()


def test_a_sensor_that_fell_silent_has_no_vote_after_the_gap_limit():
    loud = readings(10.0, first_h=0.0, last_h=12.0)
    silent = readings(14.0, first_h=0.0, last_h=3.0)
    found = air(loud, silent)

    assert found.likely[step(3.0) - FIRST] == 12.0
    assert found.likely[step(5.0) - FIRST] == 12.0
    assert found.likely[step(5.0) - FIRST + 1] == 10.0
    assert found.known.all()


@pytest.mark.parametrize(
    ("kind", "limit_min"),
    [
        (PlaceKind.VEHICLE, 30),
        (PlaceKind.DOCK, 30),
        (PlaceKind.YARD, 30),
        (PlaceKind.WAREHOUSE, 120),
        (PlaceKind.WARM_ROOM, 120),
        (PlaceKind.RIG, 120),
        (PlaceKind.JOB_SITE, 120),
    ],
)
def test_a_straight_line_bridges_a_gap_up_to_the_places_limit(kind, limit_min):
    def with_gap(minutes):
        return air(
            joined(
                readings(10.0, first_h=0.0, last_h=1.0),
                readings(16.0, first_h=1.0 + minutes / 60.0, last_h=12.0),
            ),
            kind=kind,
        )

    bridged, open_gap = with_gap(limit_min), with_gap(limit_min + 5)
    middle = step(1.0) + limit_min // 10 - FIRST

    assert bridged.known.all()
    assert bridged.likely[middle] == pytest.approx(13.0)
    assert not open_gap.known[middle]


def test_a_slow_sensor_may_be_silent_for_two_and_a_half_of_its_intervals():
    slow = readings(10.0, first_h=0.0, last_h=12.0, every_s=3600.0 * 2)

    assert air(slow).known.all()
    assert (
        air(readings(10.0, first_h=0.0, last_h=5.0, every_s=7200.0))
        .known[: step(9.0) - FIRST + 1]
        .all()
    )
    assert not air(readings(10.0, first_h=0.0, last_h=4.0, every_s=7200.0)).known[-1]


def test_over_a_long_gap_the_likely_air_keeps_the_line_and_the_others_take_the_week():
    found = air(
        joined(
            readings(10.0, first_h=0.0, last_h=2.0),
            readings(20.0, first_h=10.0, last_h=12.0),
        )
    )
    middle = step(6.0) - FIRST

    assert not found.known[middle]
    assert found.likely[middle] == pytest.approx(15.0)
    assert (found.low[middle], found.high[middle]) == (-9.0, 31.0)
    assert found.known[step(2.0) - FIRST]
    assert found.known[step(10.0) - FIRST]


def test_a_gap_that_is_still_open_holds_the_last_value():
    found = air(readings(lambda h: 10.0 + h, first_h=0.0, last_h=2.0))

    assert found.likely[-1] == pytest.approx(12.0)
    assert not found.known[-1]
    assert (found.low[-1], found.high[-1]) == (-9.0, 31.0)


def test_the_week_never_narrows_what_the_line_itself_says():
    found = air(readings(35.0, first_h=0.0, last_h=2.0), week=(-9.0, 31.0))

    assert (found.low[-1], found.high[-1]) == (-9.0, 35.0)


def test_the_week_asked_for_is_the_one_before_the_gap():
    asked: list[int] = []

    def extremes(ms: int) -> tuple[float, float]:
        asked.append(ms)
        return 0.0, 1.0

    series = joined(
        readings(10.0, first_h=0.0, last_h=2.0), readings(20.0, first_h=10.0, last_h=12.0)
    )
    place_air(
        [series],
        kind=PlaceKind.WAREHOUSE,
        first=step(3.0),
        last=step(12.0),
        extremes=extremes,
    )

    assert set(asked) == {ms_of(2.0)}


def test_a_window_begun_anywhere_gives_the_same_air():
    series = joined(
        readings(lambda h: 10.0 + np.sin(h), first_h=0.0, last_h=2.0),
        readings(20.0, first_h=7.0, last_h=12.0),
    )
    whole, part = air(series), air(series, first_h=4.0)
    skipped = step(4.0) - FIRST

    assert (whole.likely[skipped:] == part.likely).all()
    assert (whole.low[skipped:] == part.low).all()
    assert (whole.known[skipped:] == part.known).all()


def test_before_the_first_reading_nothing_is_known():
    found = air(readings(10.0, first_h=5.0, last_h=12.0))

    assert not found.known[0]
    assert (found.low[0], found.high[0]) == (NEVER_SEEN_LOW_C, NEVER_SEEN_HIGH_C)


def test_a_place_without_sensors_rules_nothing_out():
    found = air()

    assert np.isnan(found.likely).all()
    assert not found.known.any()
    assert (found.low[0], found.high[0]) == (-20.0, 40.0)
    assert found.supported_to_ms is None


def test_a_sensor_that_never_said_anything_is_as_none():
    silent = SensorSeries(
        ts_ms=np.empty(0, dtype=np.int64), value_c=np.empty(0), interval_s=300.0, error_k=0.5
    )

    assert np.isnan(air(silent).likely).all()
    assert air(silent, readings(10.0, first_h=0.0, last_h=12.0)).known.all()


def test_support_goes_to_the_earliest_of_the_newest_readings_of_trusted_sensors():
    found = air(
        readings(10.0, first_h=0.0, last_h=12.0),
        readings(10.0, first_h=0.0, last_h=11.5),
        readings(10.0, first_h=0.0, last_h=3.0),
    )

    assert found.supported_to_ms == ms_of(11.5)


def test_support_of_a_silent_place_ends_with_its_last_reading():
    assert air(readings(10.0, first_h=0.0, last_h=3.0)).supported_to_ms == ms_of(3.0)


# Sensors that come and go


def hung(series, *, until_h=None):
    until_ms = None if until_h is None else ms_of(until_h)
    return replace(series, until_ms=until_ms)


def test_a_sensor_taken_down_has_no_say_from_then_on():
    away = hung(readings(30.0, first_h=0.0, last_h=12.0), until_h=6.0)
    stays = readings(10.0, first_h=0.0, last_h=12.0)
    found = air(away, stays)

    assert found.likely[step(6.0) - FIRST - 1] == 20.0
    assert (found.likely[step(6.0) - FIRST :] == 10.0).all()


def test_once_the_only_sensor_is_taken_down_the_air_is_not_known():
    found = air(hung(readings(30.0, first_h=0.0, last_h=12.0), until_h=6.0))

    assert found.known[: step(6.0) - FIRST].all()
    assert not found.known[step(6.0) - FIRST :].any()
    assert np.isnan(found.likely[-1])
    assert (found.low[-1], found.high[-1]) == (NEVER_SEEN_LOW_C, NEVER_SEEN_HIGH_C)


def test_a_sensor_has_no_say_before_its_first_reading_there():
    old = readings(10.0, first_h=0.0, last_h=12.0)
    new = readings(30.0, first_h=6.0, last_h=12.0)
    found = air(old, new)

    assert (found.likely[: step(6.0) - FIRST] == 10.0).all()
    assert found.likely[step(6.0) - FIRST] == 20.0


def test_the_error_is_that_of_the_best_sensor_that_has_a_say():
    coarse = replace(readings(10.0, first_h=0.0, last_h=12.0), error_k=0.8)
    fine = replace(hung(readings(10.0, first_h=3.0, last_h=12.0), until_h=6.0), error_k=0.2)
    found = air(coarse, fine)

    assert [found.error_at(step(h)) for h in (0.0, 3.0, 5.9, 6.0)] == [0.8, 0.2, 0.2, 0.8]
    assert air().error_at(step(1.0)) == NO_SENSOR_K


def test_one_places_air_stands_in_for_another_where_it_is_asked_to():
    outdoors, box = (air(readings(c, first_h=0.0, last_h=12.0)) for c in (0.0, 15.0))
    own = np.arange(len(box.likely)) < step(4.0) - FIRST
    found = box.where(own, elsewhere=outdoors)

    assert (found.likely[own] == 15.0).all()
    assert (found.likely[~own] == 0.0).all()
    assert found.supported_to_ms == outdoors.supported_to_ms
