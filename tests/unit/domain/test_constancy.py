"""Stuck sensors: the same value for hours, held against their own past and against others."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.constancy import (
    COARSEST_K,
    FINE_K,
    Habit,
    Trace,
    habit_of,
    standstills,
    stuck_from,
)
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensors import What

HOUR_MS = 3_600_000
FINE = Habit(record_ms=7 * 24 * HOUR_MS, step_k=0.0625, longest_ms=HOUR_MS, changes=0.5)
COARSE = Habit(record_ms=7 * 24 * HOUR_MS, step_k=0.5, longest_ms=10 * HOUR_MS, changes=0.1)
NEW = Habit(record_ms=0, step_k=None, longest_ms=0, changes=0.0)


def times(hours: float, *, every_s: float = 300.0):
    """Times of readings over so many hours, epoch ms."""
    return np.arange(0, int(hours * HOUR_MS) + 1, int(every_s * 1000), dtype=np.int64)


def moving(kelvin: float, *, hours: float = 72.0) -> Trace:
    """Return a sensor that rises by so much in each twelve hours, and falls again."""
    at = times(hours)
    return at, kelvin * np.abs((at / HOUR_MS + 12.0) % 24.0 - 12.0) / 12.0


def doubted_after(
    habit: Habit,
    *,
    hours: float = 72.0,
    kind: PlaceKind = PlaceKind.WAREHOUSE,
    what: What = What.AIR,
    beside: Sequence[Trace] = (),
    elsewhere: Sequence[Trace] = (),
    every_s: float = 300.0,
) -> float | None:
    """Hours after which a standstill is doubted; None if it is not."""
    found = stuck_from(
        times(hours, every_s=every_s),
        habit=habit,
        interval_s=every_s,
        what=what,
        kind=kind,
        beside=beside,
        elsewhere=elsewhere,
    )
    return None if found is None else found / HOUR_MS


# What it did before


def test_steps_and_the_longest_standstill_are_read_from_its_own_past():
    at = times(4.0)
    raw = np.where(at < HOUR_MS, 20.0, np.where(at < 3 * HOUR_MS, 20.5, 21.5))

    assert habit_of((at, raw)) == Habit(
        record_ms=4 * HOUR_MS, step_k=0.5, longest_ms=2 * HOUR_MS - 300_000, changes=2 / 49
    )


def test_steps_smaller_than_any_sensor_makes_are_none():
    at = times(1.0)
    raw = np.where(at % 600_000 == 0, 0.1 + 0.2, 0.3)

    assert habit_of((at, raw)).step_k is None


def test_a_sensor_that_was_never_read_before_has_no_habit():
    assert habit_of((np.empty(0, dtype=np.int64), np.empty(0))) == NEW


def test_standstills_are_found_between_changes():
    at = times(20.0)
    raw = np.where((at >= 4 * HOUR_MS) & (at <= 12 * HOUR_MS), 5.0, at / HOUR_MS)

    assert standstills(at, raw) == [(48, 144)]
    assert standstills(at, at / HOUR_MS) == []
    assert standstills(np.empty(0, dtype=np.int64), np.empty(0)) == []


def test_a_standstill_at_the_first_reading_may_be_longer_than_it_looks():
    at = times(20.0)
    for hours, found in ((2.9, []), (3.0, [(0, 36)])):
        assert standstills(at, np.where(at <= hours * HOUR_MS, 5.0, at / HOUR_MS)) == found


# Held against others


def test_a_standstill_beside_one_that_moves_is_doubted_after_six_hours():
    assert doubted_after(FINE, beside=[moving(8.0)]) == pytest.approx(6.0)
    assert doubted_after(NEW, beside=[moving(8.0)]) == pytest.approx(6.0)


def test_a_neighbour_must_have_moved_by_more_than_the_sensors_own_steps_would_show():
    # three counts of its steps, 1.5 K at least
    assert doubted_after(FINE, beside=[moving(1.4)], hours=20.0) is None
    assert doubted_after(FINE, beside=[moving(1.6)], hours=20.0) is not None
    known = Habit(record_ms=7 * 24 * HOUR_MS, step_k=COARSEST_K, longest_ms=HOUR_MS, changes=0.5)
    assert doubted_after(known, beside=[moving(2.9)], hours=20.0) is None
    assert doubted_after(known, beside=[moving(3.1)], hours=20.0) is not None


def test_one_that_often_stood_still_for_long_is_given_twice_as_long():
    assert doubted_after(COARSE, beside=[moving(8.0)]) == pytest.approx(20.0)
    steady = Habit(record_ms=7 * 24 * HOUR_MS, step_k=0.5, longest_ms=100 * HOUR_MS, changes=0.01)
    assert doubted_after(steady, beside=[moving(8.0)]) == pytest.approx(48.0)


@pytest.mark.parametrize(
    ("kind", "hours"),
    [
        (PlaceKind.YARD, 6.0),
        (PlaceKind.VEHICLE, 6.0),
        (PlaceKind.WAREHOUSE, 12.0),
        (PlaceKind.WARM_ROOM, 12.0),
        (PlaceKind.RIG, 12.0),
    ],
)
def test_what_moves_elsewhere_tells_sooner_of_the_open_air_than_of_a_closed_place(kind, hours):
    assert doubted_after(FINE, kind=kind, elsewhere=[moving(10.0)]) == pytest.approx(hours)


def test_a_coarse_sensor_in_a_steady_room_is_not_stuck_whatever_the_weather_does():
    for kind in (PlaceKind.WAREHOUSE, PlaceKind.WARM_ROOM, PlaceKind.RIG):
        for habit in (COARSE, NEW):
            assert doubted_after(habit, kind=kind, elsewhere=[moving(25.0)], hours=160.0) is None


def test_one_of_which_nothing_is_known_is_not_held_against_what_moves_elsewhere():
    assert doubted_after(NEW, kind=PlaceKind.YARD, elsewhere=[moving(25.0)]) is None


# Held against itself


def test_alone_it_is_doubted_after_a_day_and_a_night_of_what_it_never_did():
    assert doubted_after(FINE) == pytest.approx(24.0)
    restful = Habit(record_ms=7 * 24 * HOUR_MS, step_k=0.0625, longest_ms=7 * HOUR_MS, changes=0.5)
    assert doubted_after(restful) is None
    young = Habit(record_ms=20 * HOUR_MS, step_k=0.0625, longest_ms=HOUR_MS, changes=0.5)
    assert doubted_after(young) is None


def test_alone_a_lively_one_is_doubted_after_eight_hours():
    lively = replace(FINE, longest_ms=HOUR_MS - 1)

    assert doubted_after(lively) == pytest.approx(8.0)
    assert doubted_after(replace(lively, step_k=FINE_K)) == pytest.approx(8.0)
    assert doubted_after(replace(lively, record_ms=20 * HOUR_MS)) is None
    assert doubted_after(replace(lively, step_k=0.25)) is None
    # it would have changed forty times only after 400 readings of five minutes
    assert doubted_after(replace(lively, changes=0.1)) == pytest.approx(24.0)


def test_alone_a_coarse_one_is_doubted_in_the_open_air_only():
    lively = Habit(record_ms=7 * 24 * HOUR_MS, step_k=0.5, longest_ms=5 * HOUR_MS, changes=0.1)

    assert doubted_after(lively, kind=PlaceKind.YARD) == pytest.approx(24.0)
    assert doubted_after(lively, kind=PlaceKind.WAREHOUSE) is None


def test_one_that_seldom_changed_may_stand_still_by_chance():
    # every hundredth reading: twenty changes take 2,000 readings of five minutes
    sluggish = replace(FINE, changes=0.01)

    for found in (
        doubted_after(sluggish, hours=200.0),
        doubted_after(sluggish, hours=200.0, kind=PlaceKind.YARD, elsewhere=[moving(10.0)]),
    ):
        assert found == pytest.approx(2000 / 12, abs=0.1)


# What else it may be


def test_one_that_hardly_speaks_does_not_stand_still():
    assert doubted_after(FINE, beside=[moving(8.0)], every_s=3 * 3600.0) is not None
    found = stuck_from(
        np.array([0, 12 * HOUR_MS, 24 * HOUR_MS], dtype=np.int64),
        habit=FINE,
        interval_s=300.0,
        what=What.AIR,
        kind=PlaceKind.YARD,
        beside=[moving(8.0)],
    )
    assert found is None


def test_a_drums_liquid_may_rest_for_days_and_its_skin_follows_the_air_in_part():
    for what in (What.LIQUID, What.SKIN):
        assert doubted_after(FINE, what=what, elsewhere=[moving(25.0)]) is None
        assert doubted_after(FINE, what=what, beside=[moving(5.0)]) is None
    assert doubted_after(FINE, what=What.SKIN, beside=[moving(7.0)]) is not None
    assert doubted_after(FINE, what=What.LIQUID, beside=[moving(16.0)]) is not None


def test_humidity_may_stay_at_saturation():
    assert doubted_after(FINE, what=What.HUMIDITY, beside=[moving(50.0)]) is None
