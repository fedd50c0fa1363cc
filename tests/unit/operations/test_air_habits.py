"""Places teach how their air goes, and forecasts of the outdoor air are used where they serve."""

import math
from datetime import timedelta

import numpy as np
import pytest

from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.domain.air_habits import LEARNED_DAYS, WARM_ROOM_OFF_K, AirHabit
from drumkeep.operations.air_clues import read_clues
from drumkeep.operations.air_forecasts import newest_forecast, put_forecast
from drumkeep.operations.ground import read_ground
from drumkeep.operations.places import PlaceChanges, change_place
from drumkeep.scheduler import jobs
from drumkeep.storage import air
from tests.fixtures.depot import HUNG_H, at, depot, empty_depot, steady, swinging

__all__ = ["depot", "empty_depot"]


def clues(depot, place):
    with depot.looking() as tx:
        ground = read_ground(tx)
        return read_clues(tx, places=ground.places, place_ids=[depot.places[place]])[
            depot.places[place]
        ]


def weeks(depot, *, hours=0.0):
    """Send all readings since the sensors hang: a hall that swings by day, a steady warm room."""
    depot.send(
        {
            "hall": swinging(first_h=HUNG_H, last_h=hours, mean=12.0, by=4.0, every_h=0.5),
            "room": steady(27.0, first_h=HUNG_H, last_h=hours, every_h=0.5),
        },
        now=hours,
    )


def forecast(curve, *, issued_h=0.0, hours=36):
    times = [at(issued_h + h) for h in range(-1, hours)]
    return OutdoorForecast(
        issued_at=at(issued_h),
        at_s=np.array([t.timestamp() for t in times]),
        c=np.array([float(curve(issued_h + h)) for h in range(-1, hours)]),
    )


def sent(depot, found, *, now):
    with depot.writing() as tx:
        put_forecast(tx, site="north", forecast=found, by="Mara", now=at(now))


def test_a_place_teaches_its_usual_day_and_how_far_off_one_is(depot):
    weeks(depot)
    jobs.learn_air(depot.engine, at(0.0))

    habit = clues(depot, "hall").habit
    assert habit.days == 7
    # the mean of an hour that swings is that of its middle, all but exactly
    expected = [12.0 + 4.0 * math.sin((h + 0.5) / 24.0 * 2.0 * math.pi) for h in range(24)]
    assert habit.usual_c == pytest.approx(expected, abs=0.3)
    assert 15 <= habit.cases <= 20
    assert habit.off_k[5] < 1.5


def test_a_place_within_another_learns_from_the_sensors_round_it(depot):
    weeks(depot)
    jobs.learn_air(depot.engine, at(0.0))

    assert clues(depot, "nook").habit.usual_c == clues(depot, "hall").habit.usual_c


def test_a_place_without_readings_teaches_nothing(depot):
    weeks(depot)
    jobs.learn_air(depot.engine, at(0.0))

    assert clues(depot, "van").habit == AirHabit()


def test_under_a_new_set_point_a_warm_room_begins_to_learn_anew(depot):
    weeks(depot)
    jobs.learn_air(depot.engine, at(0.0))
    assert clues(depot, "room").habit.cases > 15

    with depot.writing() as tx:
        change_place(tx, site="north", code="room", changes=PlaceChanges(set_point_c=30.0))
    assert clues(depot, "room").habit == AirHabit()

    depot.send({"room": steady(30.0, first_h=1.0, last_h=4 * 24.0, every_h=0.5)}, now=4 * 24.0)
    jobs.learn_air(depot.engine, at(1.0))
    assert clues(depot, "room").habit.cases == 0
    jobs.learn_air(depot.engine, at(4 * 24.0))
    habit = clues(depot, "room").habit
    # two days are for the level before the first trial, the fourth is tried
    assert 1 <= habit.cases <= 3
    assert habit.off_k[5] < WARM_ROOM_OFF_K[5]


def test_hours_are_those_that_the_sensor_hung_there(depot):
    depot.send({"hall": steady(30.0, first_h=HUNG_H, last_h=-48.5, every_h=0.5)}, now=0.0)
    depot.hang("hall", "van", -48.0)
    depot.send({"hall": steady(5.0, first_h=-48.0, last_h=0.0, every_h=0.5)}, now=0.0)
    jobs.learn_air(depot.engine, at(0.0))

    assert clues(depot, "van").habit.usual_c == pytest.approx([5.0] * 24)


def test_a_cold_night_that_a_forecast_tells_is_alarmed_for(depot):
    depot.send({"van": steady(14.0, first_h=-48.0, last_h=0.0)}, now=0.0)
    tag = depot.receive("van", 0.0, liquid_c=14.0)
    depot.advance(0.1)
    assert depot.estimate(tag).outlook["seeds_at"] is None

    sent(depot, forecast(lambda h: 14.0 - 4.0 * max(h, 0.0)), now=0.2)
    depot.advance(0.2)  # within the same five minutes: a forecast asks for it

    assert depot.estimate(tag).outlook["seeds_at"] is not None
    assert depot.estimate(tag).outlook["lowest_c"] < 8.0


def test_a_forecast_does_not_move_what_stands_indoors(depot):
    depot.send({"hall": steady(14.0, first_h=-48.0, last_h=0.0)}, now=0.0)
    tag = depot.receive("hall", 0.0, liquid_c=14.0)
    depot.advance(0.1)
    before = depot.estimate(tag).outlook

    sent(depot, forecast(lambda h: 14.0 - 4.0 * max(h, 0.0)), now=0.1)
    depot.advance(0.1)

    assert depot.estimate(tag).outlook == before


def test_places_learn_how_good_the_forecasts_of_their_site_were(depot):
    depot.send(
        {"van": swinging(first_h=HUNG_H, last_h=0.0, mean=5.0, by=5.0, every_h=0.5)}, now=0.0
    )
    for day in range(-18, 0):
        perfect = forecast(
            lambda h: 5.0 + 5.0 * math.sin(h / 24.0 * 2.0 * math.pi), issued_h=24.0 * day
        )
        sent(depot, perfect, now=24.0 * day)
    jobs.learn_air(depot.engine, at(0.0))

    habit = clues(depot, "van").habit
    assert habit.forecast_cases == 18
    assert habit.forecast_off_k[4] < AirHabit().forecast_off_k[4] / 2


def test_forecasts_that_nothing_is_learned_from_any_more_are_dropped(depot):
    sent(depot, forecast(lambda _: 5.0), now=0.0)
    sent(depot, forecast(lambda _: 6.0, issued_h=24.0), now=24.0)

    later = 24.0 * LEARNED_DAYS + 1.0
    jobs.learn_air(depot.engine, at(later))
    with depot.looking() as tx:
        kept = air.forecasts_since(tx, since=at(0.0) - timedelta(days=99))
        newest = newest_forecast(tx, site="north")

    assert [[row.issued_at for row in rows] for rows in kept.values()] == [[at(24.0)]]
    assert newest.issued_at == at(24.0)
