"""Sound air is never doubted, faults are found in their time, and only the past decides."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drumkeep.domain.air import place_air, place_doubts
from drumkeep.domain.constancy import Trace
from drumkeep.domain.grid import STEP_MS
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import (
    HOUR_MS,
    MINUTE_MS,
    Reason,
    codes_of,
    doubts_of,
    look_back_ms,
    reaches_back,
)
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from tests.builders.standstills import stuck_spans

kinds = st.sampled_from(PlaceKind)
rooms = st.sampled_from([PlaceKind.WAREHOUSE, PlaceKind.WARM_ROOM, PlaceKind.RIG])
resolutions = st.sampled_from([0.0625, 0.1, 0.25, 0.5, 1.0])
intervals_s = st.sampled_from([60.0, 300.0, 600.0, 1800.0, 3600.0])
seeds = st.integers(0, 2**32 - 1)


def sampled(
    curve: Callable[[np.ndarray], np.ndarray],
    *,
    hours: float,
    interval_s: float = 300.0,
    resolution: float = 0.0625,
    noise: float = 0.0,
    seed: int = 0,
    lost: float = 0.0,
    **more: Any,
) -> SensorSeries:
    """Return what a sensor reads of a curve of hours: noisy, in its steps, some of it lost."""
    rng = np.random.default_rng(seed)
    ts = np.arange(0, int(hours * HOUR_MS) + 1, int(interval_s * 1000), dtype=np.int64)
    ts = ts[rng.random(len(ts)) >= lost]
    values = curve(ts / HOUR_MS) + rng.normal(0.0, noise, len(ts)) if noise else curve(ts / HOUR_MS)
    rounded = np.round(values / resolution) * resolution
    return SensorSeries(ts_ms=ts, value_c=rounded, interval_s=interval_s, error_k=0.5, **more)


def daily(mean: float, swing: float) -> Callable[[np.ndarray], np.ndarray]:
    """Air that swings with the day."""
    return lambda hours: mean + swing * np.sin(hours * np.pi / 12.0)


def trace(series: SensorSeries) -> Trace:
    """Return it as others see it."""
    return series.ts_ms, series.value_c


def doubts_there(*series: SensorSeries, kind: PlaceKind, hours: float):
    """Return all that sensors of one place are doubted for."""
    last = int(hours * HOUR_MS) // STEP_MS
    return [d for some in place_doubts(series, kind=kind, first=0, last=last) for d in some]


# Sound air


@given(
    kind=kinds,
    mean=st.floats(-20.0, 35.0),
    swing=st.floats(1.0, 12.0),
    noise=st.floats(0.0, 0.4),
    resolution=resolutions,
    interval_s=intervals_s,
    lost=st.floats(0.0, 0.5),
    seed=seeds,
)
def test_noisy_air_with_a_daily_swing_is_never_doubted(
    *, kind, mean, swing, noise, resolution, interval_s, lost, seed
):
    def read(seed: int) -> SensorSeries:
        return sampled(
            daily(mean, swing),
            hours=96.0,
            interval_s=interval_s,
            resolution=resolution,
            noise=noise,
            seed=seed,
            lost=lost,
        )

    one, other = read(seed), read(seed + 1)
    outdoors = sampled(daily(5.0, 12.0), hours=96.0)
    assume(len(one.ts_ms) > 0)

    assert doubts_there(one, other, kind=kind, hours=96.0) == []
    assert stuck_spans(one, kind=kind, beside=(trace(other),), elsewhere=(trace(outdoors),)) == []


@given(
    kind=rooms,
    set_point=st.floats(15.0, 30.0),
    swing=st.floats(0.0, 1.0),
    minutes=st.floats(10.0, 120.0),
    noise=st.sampled_from([0.0, 0.03, 0.1]),
    resolution=resolutions,
    interval_s=intervals_s,
    weather=st.floats(0.0, 20.0),
    seed=seeds,
)
def test_a_room_held_by_a_thermostat_is_never_doubted(
    *, kind, set_point, swing, minutes, noise, resolution, interval_s, weather, seed
):
    def held(hours: np.ndarray) -> np.ndarray:
        saw = np.abs((hours * 60.0 / minutes) % 2.0 - 1.0)  # warmer while it heats, cooler after
        return np.asarray(set_point + swing * (2.0 * saw - 1.0))

    def read(seed: int, resolution: float) -> SensorSeries:
        return sampled(
            held,
            hours=240.0,
            interval_s=interval_s,
            resolution=resolution,
            noise=noise,
            seed=seed,
        )

    one, other = read(seed, resolution), read(seed + 1, 0.0625)
    outdoors = sampled(daily(5.0, weather), hours=240.0)

    assert stuck_spans(one, kind=kind, beside=(trace(other),), elsewhere=(trace(outdoors),)) == []
    assert doubts_there(one, other, kind=kind, hours=240.0) == []


@given(gaps=st.lists(st.tuples(st.integers(0, 700), st.integers(1, 60)), max_size=8), seed=seeds)
def test_a_years_weather_by_the_hour_with_hours_missing_is_never_doubted(gaps, seed):
    rng = np.random.default_rng(seed)
    fronts = np.cumsum(rng.normal(0.0, 0.8, 721))  # as hourly air at an airfield wanders

    def weather(hours: np.ndarray) -> np.ndarray:
        wander = np.interp(hours, np.arange(721), fronts) * 0.5
        return np.asarray(8.0 + wander + daily(0.0, 6.0)(hours))

    series = sampled(weather, hours=720.0, interval_s=3600.0, resolution=0.5556)
    keep = np.ones(len(series.ts_ms), dtype=bool)
    for begin, length in gaps:
        keep[begin : begin + length] = False
    series = replace(series, ts_ms=series.ts_ms[keep], value_c=series.value_c[keep])
    assume(len(series.ts_ms) > 0)

    assert doubts_of(series, kind=PlaceKind.YARD) == []
    assert stuck_spans(series, kind=PlaceKind.YARD) == []


# Faults


@given(
    kind=kinds,
    at=st.integers(40, 800),
    length=st.integers(1, 2),
    off=st.floats(16.0, 40.0),
    sign=st.sampled_from([-1.0, 1.0]),
    noise=st.floats(0.0, 0.2),
    seed=seeds,
)
def test_a_spike_is_doubted_and_nothing_else(*, kind, at, length, off, sign, noise, seed):
    clean = sampled(daily(15.0, 6.0), hours=72.0, noise=noise, seed=seed)
    values = clean.value_c.copy()
    values[at : at + length] += sign * off
    found = doubts_of(replace(clean, value_c=values), kind=kind)

    assert {d.reason for d in found} == {Reason.JUMP}
    assert found[0].from_ms == clean.ts_ms[at]
    assert found[-1].until_ms == clean.ts_ms[at + length]


@given(
    kind=kinds,
    at=st.integers(40, 700),
    to=st.floats(-40.0, 60.0),
    noise=st.floats(0.0, 0.2),
    seed=seeds,
)
def test_a_level_that_lasts_is_believed_again_in_twenty_minutes(kind, at, to, noise, seed):
    clean = sampled(daily(15.0, 2.0), hours=72.0, noise=noise, seed=seed)
    values = clean.value_c.copy()
    values[at:] += to - 15.0
    for doubt in doubts_of(replace(clean, value_c=values), kind=kind):
        assert doubt.reason is Reason.JUMP
        assert doubt.until_ms is not None
        assert doubt.until_ms - int(clean.ts_ms[at]) <= 20 * MINUTE_MS


@given(
    kind=kinds,
    hour=st.floats(30.0, 60.0),
    swing=st.floats(3.0, 12.0),
    noise=st.floats(0.05, 0.3),
    seed=seeds,
)
def test_a_sensor_that_sticks_is_found_beside_another_in_half_a_day(kind, hour, swing, noise, seed):
    clean = sampled(daily(15.0, swing), hours=96.0, noise=noise, seed=seed)
    other = sampled(daily(15.0, swing), hours=96.0, noise=noise, seed=seed + 1)
    since = int(hour * 12)
    values = clean.value_c.copy()
    values[since:] = values[since]
    found = stuck_spans(replace(clean, value_c=values), kind=kind, beside=(trace(other),))

    assert len(found) == 1
    assert found[0][1] is None
    # by chance it may have said the same shortly before
    assert 5.0 * HOUR_MS <= found[0][0] - int(clean.ts_ms[since]) <= 12.0 * HOUR_MS


@given(
    kind=kinds,
    hour=st.floats(30.0, 60.0),
    resolution=st.sampled_from([0.0625, 0.1]),
    noise=st.floats(0.05, 0.3),
    seed=seeds,
)
def test_a_fine_sensor_that_sticks_is_found_alone_in_a_day(kind, hour, resolution, noise, seed):
    clean = sampled(daily(15.0, 4.0), hours=96.0, noise=noise, seed=seed, resolution=resolution)
    since = int(hour * 12)
    values = clean.value_c.copy()
    values[since:] = values[since]
    found = stuck_spans(replace(clean, value_c=values), kind=kind)

    assert len(found) == 1
    assert found[0][0] - int(clean.ts_ms[since]) <= 24.0 * HOUR_MS


@given(
    kind=rooms,
    hour=st.floats(30.0, 60.0),
    resolution=st.sampled_from([0.0625, 0.1]),
    noise=st.floats(0.15, 0.3),
    seed=seeds,
)
def test_a_lively_sensor_that_sticks_in_a_closed_place_is_found_alone_in_eight_hours(
    *, kind, hour, resolution, noise, seed
):
    # so noisy that no value comes twelve times in a row
    clean = sampled(daily(15.0, 4.0), hours=96.0, noise=noise, seed=seed, resolution=resolution)
    since = int(hour * 12)
    values = clean.value_c.copy()
    values[since:] = values[since]
    found = stuck_spans(replace(clean, value_c=values), kind=kind)

    assert len(found) == 1
    assert found[0][0] - int(clean.ts_ms[since]) <= 8.0 * HOUR_MS


@given(
    kind=kinds,
    hour=st.floats(10.0, 40.0),
    off=st.floats(6.5, 11.0),
    sign=st.sampled_from([-1.0, 1.0]),
    noise=st.floats(0.0, 0.2),
    seed=seeds,
)
def test_one_of_three_that_is_off_is_found_within_the_hour(*, kind, hour, off, sign, noise, seed):
    three = [sampled(daily(15.0, 4.0), hours=48.0, noise=noise, seed=seed + i) for i in range(3)]
    since = int(hour * 12)
    values = three[2].value_c.copy()
    values[since:] += sign * off * np.minimum(np.arange(len(values) - since) / 6.0, 1.0)
    three[2] = replace(three[2], value_c=values)
    first, second, third = place_doubts(three, kind=kind, first=0, last=48 * 12)

    apart = [d for d in third if d.reason is Reason.APART]
    assert first == second == []
    assert len(apart) == 1
    assert apart[0].until_ms is None
    # half an hour to drift off, and an hour
    assert apart[0].from_ms - int(three[2].ts_ms[since]) <= 90 * MINUTE_MS
    assert apart[0].other is not None
    assert apart[0].value - apart[0].other == pytest.approx(sign * off, abs=1.5)


# Only the past decides, and no more of it than is stated


@st.composite
def wild(draw: st.DrawFn) -> SensorSeries:
    """Readings at odd times, quiet and wild by turns, with spikes, nonsense and silences."""
    rng = np.random.default_rng(draw(seeds))
    count = draw(st.integers(2, 400))
    ts = np.cumsum(rng.choice([30, 60, 300, 300, 300, 900, 3600, 9000], count)) * 1000
    level = np.cumsum(rng.choice([0.0, 0.0, 0.0, 0.0, 0.1, -0.1, 12.0, -12.0], count)) % 60.0 - 20.0
    odd = rng.random(count)
    values = np.where(odd < 0.05, 85.0, np.where(odd < 0.1, -127.0, level))
    return SensorSeries(
        ts_ms=ts.astype(np.int64), value_c=values, interval_s=300.0, error_k=0.5, what=What.AIR
    )


@given(series=wild(), kind=kinds, data=st.data())
def test_what_comes_later_never_makes_an_earlier_reading_doubtful(series, kind, data):
    known = data.draw(st.integers(1, len(series.ts_ms)))
    early = replace(series, ts_ms=series.ts_ms[:known], value_c=series.value_c[:known])

    assert (codes_of(early, kind=kind) == codes_of(series, kind=kind)[:known]).all()


@given(series=wild(), kind=kinds, data=st.data())
def test_what_is_further_back_than_stated_matters_to_no_reading(series, kind, data):
    first = data.draw(st.integers(0, len(series.ts_ms) - 1))
    seen = series.ts_ms >= series.ts_ms[first] - look_back_ms(series.interval_s)
    short = replace(series, ts_ms=series.ts_ms[seen], value_c=series.value_c[seen])
    later = len(series.ts_ms) - first

    assert (codes_of(short, kind=kind)[-later:] == codes_of(series, kind=kind)[-later:]).all()


def cut(series: SensorSeries, *, at_ms: int, kind: PlaceKind) -> SensorSeries:
    """Return no more of the past than it takes to tell what is trusted from a time on."""
    before = series.ts_ms[series.ts_ms < at_ms]
    bridge = int(before[-1]) if len(before) else at_ms
    for back in range(1, 9):
        begin = bridge - back * look_back_ms(series.interval_s)
        seen = series.ts_ms >= begin
        short = replace(series, ts_ms=series.ts_ms[seen], value_c=series.value_c[seen])
        if reaches_back(short, kind=kind, begin_ms=begin, at_ms=bridge):
            return short
    return series


@given(one=wild(), other=wild(), kind=kinds, data=st.data())
def test_the_air_is_the_same_wherever_its_computation_begins(one, other, kind, data):
    last = int(max(one.ts_ms[-1], other.ts_ms[-1])) // STEP_MS + 6
    begin = data.draw(st.integers(0, last))

    def air(first: int, *, short: bool):
        series = [
            cut(whole, at_ms=first * STEP_MS, kind=kind) if short else whole
            for whole in (one, other)
        ]
        return place_air(
            series,
            kind=kind,
            first=first,
            last=last,
            extremes=lambda ms: (-ms / 1e9, ms / 1e9),
        )

    whole, part = air(0, short=False), air(begin, short=True)

    for name in ("likely", "low", "high", "known", "supported", "error_k"):
        expected = getattr(whole, name)[begin:]
        assert np.array_equal(getattr(part, name), expected, equal_nan=name != "known"), name


@given(one=wild(), other=wild(), kind=kinds)
def test_air_is_between_its_bounds_and_known_only_where_they_meet(one, other, kind):
    last = int(max(one.ts_ms[-1], other.ts_ms[-1])) // STEP_MS
    air = place_air([one, other], kind=kind, first=0, last=last, extremes=lambda _ms: None)
    told = np.isfinite(air.likely)

    assert (air.low[told] <= air.likely[told]).all()
    assert (air.likely[told] <= air.high[told]).all()
    assert (air.low[air.known] == air.high[air.known]).all()
    assert air.supported[air.known].all()
    assert told[air.supported].all()
