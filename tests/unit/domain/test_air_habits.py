"""What a place's own past teaches: its usual day, its recovery, and how far off one is."""

import numpy as np
import pytest

from drumkeep.domain.air_habits import (
    FORECAST_OFF_K,
    INDOOR_OFF_K,
    LEADS_H,
    LEARNED_DAYS,
    LEAST_OFF_K,
    OPEN_AIR_OFF_K,
    RECOVERY_H,
    STRETCH,
    WARM_ROOM_OFF_K,
    AirHabit,
    habit_of,
)
from drumkeep.domain.places import PlaceKind
from tests.unit.domain.test_air_ahead import forecast

DAYS = LEARNED_DAYS + 7
HOURS = np.arange(24 * DAYS)
DAY = 10.0 + 5.0 * np.sin((HOURS % 24) * np.pi / 12.0)
DAY_AHEAD = LEADS_H.index(24)


def habit(hours_c, *, kind=PlaceKind.WAREHOUSE, set_point_c=None, first_hour=0, forecasts=()):
    return habit_of(
        np.asarray(hours_c, dtype=np.float64),
        first_hour=first_hour,
        kind=kind,
        set_point_c=set_point_c,
        forecasts=forecasts,
    )


def noisy(sd, *, seed=1):
    return DAY + np.random.default_rng(seed).normal(size=len(DAY)) * sd


def test_the_usual_day_is_the_mean_of_each_hour_of_the_last_week():
    found = habit(DAY + np.where(HOURS < 24 * (DAYS - 7), 100.0, 0.0))

    assert found.usual_c == pytest.approx(DAY[:24])
    assert found.days == 7


@pytest.mark.parametrize("first_hour", [0, 5, 23])
def test_hours_of_the_day_are_those_of_utc(first_hour):
    found = habit(np.roll(DAY, -first_hour), first_hour=first_hour)

    assert found.usual_c == pytest.approx(DAY[:24])


def test_a_gap_leaves_the_other_days():
    gappy = DAY.copy()
    gappy[-40:-30] = np.nan

    assert habit(gappy).usual_c == pytest.approx(DAY[:24])
    assert habit(gappy).days == 6


def test_without_a_full_day_there_is_no_usual_day():
    assert habit(DAY[:20]).usual_c == ()
    assert habit(np.full(len(DAY), np.nan)).usual_c == ()


@pytest.mark.parametrize(
    ("kind", "set_point_c", "default"),
    [
        (PlaceKind.YARD, None, OPEN_AIR_OFF_K),
        (PlaceKind.WAREHOUSE, None, INDOOR_OFF_K),
        (PlaceKind.WARM_ROOM, 27.0, WARM_ROOM_OFF_K),
    ],
)
def test_a_place_without_a_past_has_the_error_of_its_kind(kind, set_point_c, default):
    found = habit(np.full(30, np.nan), kind=kind, set_point_c=set_point_c)

    assert found.off_k == pytest.approx(np.maximum([0.0, *default[1:]], [0.0] + [LEAST_OFF_K] * 8))
    assert found.cases == 0


def test_a_place_that_keeps_its_usual_day_earns_a_narrow_band():
    found = habit(DAY)

    # its own error is none; a week of the default is left among the weeks that were tried
    share = 7.0 / (found.cases + 7.0)
    assert found.off_k[DAY_AHEAD] == pytest.approx(max(INDOOR_OFF_K[DAY_AHEAD] * share, 0.8), 0.1)
    assert 25 <= found.cases <= DAYS


def test_the_error_is_that_of_nine_in_ten():
    sd = 2.0
    found = habit(noisy(sd))

    # of white noise round a mean of seven, 90 % lie within 1.645 σ √(1 + 1/7); the level adds
    own = 1.645 * sd * np.sqrt(1.0 + 1.0 / 7.0)
    tried = found.off_k[DAY_AHEAD] - INDOOR_OFF_K[DAY_AHEAD] * 7.0 / (found.cases + 7.0)
    assert own < tried * (found.cases + 7.0) / found.cases < 1.6 * own


def test_farther_ahead_is_never_surer():
    off = habit(noisy(1.0) + np.cumsum(np.random.default_rng(2).normal(size=len(DAY)) * 0.2)).off_k

    assert (np.diff(off) >= 0.0).all()


def test_what_comes_after_the_last_hour_is_not_looked_at():
    long = noisy(1.0)

    assert habit(long[:-100]) == habit(long[:-100].copy())
    assert habit(long[:-100]) != habit(long)


def recovering(recovery_h, *, doors=24):
    """A room at 27 °C that falls to 20 °C once a day and comes back."""
    off = np.where(HOURS % doors == 0, -7.0, 0.0)
    left = np.exp(-1.0 / recovery_h)
    found = np.zeros(len(HOURS))
    for i in range(1, len(HOURS)):
        found[i] = found[i - 1] * left + off[i]
    return 27.0 + found


@pytest.mark.parametrize("recovery_h", [0.5, 2.0, 6.0])
def test_a_warm_room_shows_how_fast_it_comes_back(recovery_h):
    found = habit(recovering(recovery_h), kind=PlaceKind.WARM_ROOM, set_point_c=27.0)

    # the day's fall itself, in one hour of 24, is no coming back: it reads a little fast
    assert found.recovery_h == pytest.approx(recovery_h, rel=0.25)


def test_a_warm_room_that_never_strayed_has_the_usual_recovery():
    found = habit(np.full(len(DAY), 27.0), kind=PlaceKind.WARM_ROOM, set_point_c=27.0)

    assert found.recovery_h == pytest.approx(RECOVERY_H)


def test_a_room_whose_heater_failed_is_not_expected_back_soon():
    air = np.full(len(DAY), 27.0)
    air[-10:] = 14.0
    found = habit(air, kind=PlaceKind.WARM_ROOM, set_point_c=27.0)

    assert found.recovery_h > 8.0


def swing(h):
    return 10.0 + 5.0 * np.sin((h % 24) * np.pi / 12.0)


def sent_daily(wrong_k):
    """A forecast a day for 30 days, each off by so much more with every day ahead."""

    def one(issue):
        return forecast(
            lambda h: swing(h) + wrong_k * (h - issue) / 24.0,
            issued_h=issue,
            first_h=issue,
            last_h=issue + 72.0,
        )

    return [one(24.0 * number) for number in range(30)]


@pytest.mark.parametrize("wrong_k", [0.0, 8.0])
def test_forecasts_are_judged_by_what_came(wrong_k):
    sent = sent_daily(wrong_k)
    found = habit(
        swing(HOURS + 0.5),
        kind=PlaceKind.YARD,
        first_hour=int(sent[0].issued_at.timestamp() // 3600),
        forecasts=sent,
    )

    assert found.forecast_cases == 30
    leaned = FORECAST_OFF_K[DAY_AHEAD] * 7.0 / 37.0
    assert found.forecast_off_k[DAY_AHEAD] == pytest.approx(
        max(STRETCH * wrong_k * 30.0 / 37.0 + leaned, LEAST_OFF_K), abs=0.3
    )


def test_a_habit_comes_back_as_it_was_stored():
    found = habit(noisy(1.0))

    assert AirHabit.from_json(found.as_json()) == found
