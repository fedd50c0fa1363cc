"""The air to come: by set point, by forecast, by the usual day, or the last day over again."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from drumkeep.domain.air_ahead import (
    PER_HOUR,
    AirBasis,
    AirClues,
    air_ahead,
    basis_words,
)
from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.domain.air_habits import (
    FORECAST_OFF_K,
    INDOOR_OFF_K,
    LEADS_H,
    OPEN_AIR_OFF_K,
    AirHabit,
)
from drumkeep.domain.places import PlaceKind
from tests.builders.past import at, place, readings, step

NOW_H = 30.0
USUAL = AirHabit(
    usual_c=tuple(10.0 + 5.0 * np.sin((h + 0.5) * np.pi / 12.0) for h in range(24)), days=7
)


def day(h):
    return 5.0 + 10.0 * np.sin(h * np.pi / 12.0)


def usual(h):
    return 10.0 + 5.0 * np.sin(h * np.pi / 12.0)


def ahead(air, *, kind=PlaceKind.YARD, set_point_c=None, hours=36, habit=None, forecast=None):
    return air_ahead(
        kind=kind,
        set_point_c=set_point_c,
        air=place(air, hours=NOW_H).air,
        clues=AirClues(habit=habit or AirHabit(), forecast=forecast),
        now_step=step(NOW_H),
        hours=hours,
    )


def forecast(curve, *, issued_h=NOW_H, first_h=NOW_H - 2.0, last_h=NOW_H + 24.0):
    hours = np.arange(first_h, last_h + 0.5)
    return OutdoorForecast(
        issued_at=at(issued_h),
        at_s=np.array([at(h).timestamp() for h in hours]),
        c=np.array([float(curve(h)) for h in hours]),
    )


def hour(found, lead):
    return found.likely[round(lead * PER_HOUR)]


def test_without_a_past_the_last_day_comes_again():
    found = ahead(day)
    hours = np.arange(len(found.likely)) / PER_HOUR

    assert found.basis is AirBasis.LAST_DAY
    assert found.likely == pytest.approx(day(NOW_H + hours), abs=1e-9)


def test_the_third_day_looks_like_the_first():
    found = ahead(lambda h: day(h) + ((h > 20.0) & (h < 25.0)), hours=72).likely

    assert (found[1 : 24 * PER_HOUR] == found[1 + 24 * PER_HOUR : 48 * PER_HOUR]).all()
    assert (found[1 : 24 * PER_HOUR] == found[1 + 48 * PER_HOUR : 72 * PER_HOUR]).all()


def test_what_is_colder_now_than_a_day_ago_passes():
    found = ahead(lambda h: day(h) - 8.0 * (h > NOW_H - 12.0), hours=24)

    assert hour(found, 0.0) == pytest.approx(day(NOW_H) - 8.0)
    assert hour(found, 9.5) == pytest.approx(day(NOW_H + 9.5) - 8.0 / np.e)


def test_air_on_record_for_minutes_only_is_held():
    found = air_ahead(
        kind=PlaceKind.YARD,
        set_point_c=None,
        air=place(8.0, hours=0.0).air,
        clues=AirClues(),
        now_step=step(0.0),
        hours=12,
    )

    assert (found.likely == 8.0).all()
    assert len(found.likely) == 12 * PER_HOUR + 1


def test_a_day_of_readings_is_enough_to_look_ahead():
    series = readings(day, first_h=NOW_H - 24.0, last_h=NOW_H)

    assert np.isfinite(ahead(series).likely).all()


def test_where_no_sensor_ever_was_nothing_is_ruled_out():
    found = ahead(None)

    assert found.basis is AirBasis.NOTHING
    assert np.isnan(found.likely).all()
    assert (found.low == -20.0).all()
    assert (found.high == 40.0).all()


def test_a_place_that_is_as_usual_takes_its_usual_day():
    found = ahead(usual, habit=USUAL)

    assert found.basis is AirBasis.USUAL_DAY
    assert hour(found, 0.0) == pytest.approx(usual(NOW_H), abs=1e-9)
    for lead in (6.0, 12.0, 30.0):
        # hours stand for their middles, and lines between them cut the crests
        assert hour(found, lead) == pytest.approx(usual(NOW_H + lead), abs=0.1)


@pytest.mark.parametrize(
    ("kind", "left"), [(PlaceKind.YARD, np.exp(-24 / 33.0)), (PlaceKind.RIG, np.exp(-24 / 66.0))]
)
def test_a_colder_spell_fades_into_the_usual_day_indoors_more_slowly(kind, left):
    found = ahead(lambda h: usual(h) - 8.0, kind=kind, habit=USUAL)

    assert hour(found, 24.0) == pytest.approx(usual(NOW_H + 24.0) - 8.0 * left, abs=0.1)


def test_a_gust_of_the_last_minutes_passes_sooner_than_a_spell():
    gust = ahead(lambda h: usual(h) - 6.0 * (h > NOW_H - 0.1), habit=USUAL)

    assert hour(gust, 0.0) == pytest.approx(usual(NOW_H) - 6.0)
    # 6 K, but for the thirty-sixth of it that the last three hours saw, fades in 9.5 h
    assert hour(gust, 24.0) == pytest.approx(usual(NOW_H + 24.0) - 6.0 * np.exp(-24 / 9.5), abs=0.3)


def test_the_band_is_what_the_past_taught_and_a_default_without_one():
    taught = replace(USUAL, off_k=(0.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0, 2.0), cases=20)

    for habit, off in ((USUAL, OPEN_AIR_OFF_K), (taught, taught.off_k)):
        found = ahead(usual, habit=habit)
        for lead, k in zip(LEADS_H[:6], off, strict=False):
            index = lead * PER_HOUR
            assert found.high[index] - found.likely[index] == pytest.approx(k)
            assert found.likely[index] - found.low[index] == pytest.approx(k)
    assert ahead(usual, habit=taught).cases == 20


def test_indoors_the_default_band_is_narrower():
    found = ahead(day, kind=PlaceKind.WAREHOUSE)

    assert found.high[12 * PER_HOUR] - found.likely[12 * PER_HOUR] == pytest.approx(INDOOR_OFF_K[4])


def test_air_last_heard_of_hours_ago_is_off_by_as_much_already():
    series = readings(day, first_h=0.0, last_h=NOW_H - 6.0)
    found = ahead(series)

    assert found.high[0] - found.likely[0] == pytest.approx(OPEN_AIR_OFF_K[3])


def test_a_warm_room_goes_back_to_its_set_point():
    found = ahead(24.0, kind=PlaceKind.WARM_ROOM, set_point_c=27.0, habit=AirHabit(recovery_h=2.0))

    assert found.basis is AirBasis.SET_POINT
    assert hour(found, 0.0) == 24.0
    assert hour(found, 2.0) == pytest.approx(27.0 - 3.0 / np.e)
    assert hour(found, 24.0) == pytest.approx(27.0, abs=1e-3)
    # it may take twice as long, or half
    assert found.low[2 * PER_HOUR] < 27.0 - 3.0 * np.exp(-0.5)
    assert found.high[2 * PER_HOUR] > 27.0 - 3.0 * np.exp(-2.0)


def test_a_warm_room_whose_air_is_not_known_is_at_its_set_point():
    found = ahead(None, kind=PlaceKind.WARM_ROOM, set_point_c=27.0)

    assert (found.likely == 27.0).all()


def test_a_warm_room_without_a_set_point_is_like_any_other_place():
    assert np.ptp(ahead(day, kind=PlaceKind.WARM_ROOM).likely) > 10.0


def test_a_set_point_means_nothing_elsewhere():
    assert np.ptp(ahead(day, set_point_c=27.0).likely) > 10.0


def test_in_the_open_a_fresh_forecast_is_followed():
    found = ahead(day, habit=USUAL, forecast=forecast(lambda h: day(NOW_H) - (h - NOW_H)))

    assert found.basis is AirBasis.FORECAST
    assert hour(found, 20.0) == pytest.approx(day(NOW_H) - 20.0)


def test_a_forecast_that_is_wrong_now_is_mended_and_its_error_fades():
    found = ahead(day, forecast=forecast(lambda _: day(NOW_H) + 2.0))

    assert hour(found, 0.0) == pytest.approx(day(NOW_H))
    assert hour(found, 9.5) == pytest.approx(day(NOW_H) + 2.0 * (1.0 - 1.0 / np.e))


def test_what_a_place_is_warmer_by_than_a_forecast_could_err_stays():
    found = ahead(20.0, kind=PlaceKind.DOCK, forecast=forecast(lambda _: -5.0))

    # 25 K between them: 3 K may be the forecast's, 22 K are the dock's own roof and heat
    assert hour(found, 23.0) == pytest.approx(-5.0 + 22.0 + 3.0 * np.exp(-23.0 / 9.5))


def test_past_its_end_a_forecast_leads_over_into_the_usual_day():
    found = ahead(usual, habit=USUAL, hours=96, forecast=forecast(lambda h: usual(h) - 6.0))

    assert abs(hour(found, 24.25) - hour(found, 24.0)) < 1.0
    assert hour(found, 96.0) == pytest.approx(usual(NOW_H + 96.0), abs=1.0)


def test_the_band_of_a_forecast_counts_from_its_issue():
    def off(issued_h):
        found = ahead(day, forecast=forecast(day, issued_h=issued_h))
        return found.high[20 * PER_HOUR] - found.likely[20 * PER_HOUR]

    assert off(NOW_H) < off(NOW_H - 12.0)
    assert off(NOW_H) == pytest.approx(np.interp(20.0, LEADS_H, FORECAST_OFF_K))


@pytest.mark.parametrize(
    "given",
    [
        {"issued_h": NOW_H - 24.1},
        {"last_h": NOW_H - 1.0},
        {"first_h": NOW_H + 1.0},
    ],
)
def test_a_forecast_that_is_stale_or_of_another_time_is_left_aside(given):
    assert ahead(day, forecast=forecast(day, **given)).basis is AirBasis.LAST_DAY


def test_indoors_a_forecast_of_the_outdoors_is_left_aside():
    found = ahead(day, kind=PlaceKind.WAREHOUSE, forecast=forecast(day))

    assert found.basis is AirBasis.LAST_DAY


def test_a_forecast_that_erred_more_than_the_usual_day_is_left_aside():
    wrong = replace(USUAL, off_k=(0.0,) + (2.0,) * 8, cases=28, forecast_off_k=(0.0,) + (6.0,) * 8)

    assert ahead(usual, habit=wrong, forecast=forecast(usual)).basis is AirBasis.USUAL_DAY


def test_later_looks_are_the_same_air_and_its_end_stays():
    found = ahead(day, hours=24)
    later = found.later(4 * PER_HOUR)

    assert (later.likely[: 20 * PER_HOUR] == found.likely[4 * PER_HOUR : 24 * PER_HOUR]).all()
    assert (later.high[20 * PER_HOUR :] == found.high[-1]).all()
    assert len(later.low) == len(found.low)


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (lambda: ahead(day, forecast=forecast(day, issued_h=NOW_H - 2.0)), "issued 2 h ago"),
        (lambda: ahead(day), "the last day over again"),
        (lambda: ahead(usual, habit=USUAL), "the usual course of the last 7 days"),
        (lambda: ahead(usual, habit=replace(USUAL, cases=9)), "at 9 days of its own"),
        (lambda: ahead(24.0, kind=PlaceKind.WARM_ROOM, set_point_c=27.0), "back to the set point"),
        (lambda: ahead(None), "not known"),
    ],
)
def test_what_the_air_to_come_rests_on_is_said_in_words(found, words):
    assert words in basis_words(found(), now=at(NOW_H) + timedelta(minutes=3))
