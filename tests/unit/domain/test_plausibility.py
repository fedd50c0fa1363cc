"""What a sensor is doubted for by itself: range, power-on value and jumps."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import (
    Code,
    Reason,
    codes_of,
    doubts_of,
    last_trusted_ms,
    look_back_ms,
    trusted_values,
)
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from tests.builders.past import ms_of, readings


def with_values(series: SensorSeries, changed: dict[int, float]) -> SensorSeries:
    """Return the readings with some replaced, by their number."""
    values = series.value_c.copy()
    values[list(changed)] = list(changed.values())
    return replace(series, value_c=values)


def doubted(series: SensorSeries, *, kind: PlaceKind = PlaceKind.WAREHOUSE) -> list[int]:
    """Numbers of the readings that are doubted."""
    return np.flatnonzero(codes_of(series, kind=kind)).tolist()


def day(c: float = 15.0, **more: Any) -> SensorSeries:
    """Return a day of one temperature, a reading every five minutes."""
    return readings(c, first_h=0.0, last_h=24.0, **more)


# Range


@pytest.mark.parametrize(
    ("what", "good", "bad"),
    [
        (What.AIR, (-50.0, 70.0), (-50.1, 70.1)),
        (What.FLOOR, (-40.0, 70.0), (-40.1, 70.1)),
        (What.SKIN, (-40.0, 90.0), (-40.1, 90.1)),
        (What.LIQUID, (-40.0, 90.0), (-40.1, 90.1)),
        (What.HUMIDITY, (0.5, 100.0), (0.0, 100.1)),
    ],
)
def test_what_cannot_be_is_out_of_range(what, good, bad):
    for value in good:
        assert doubted(replace(day(value), what=what)) == []
    for value in bad:
        assert len(doubted(replace(day(value), what=what))) == 289


def test_no_device_is_no_temperature():
    # -127 is what common drivers return for a DS18B20 that is not there
    assert doubts_of(with_values(day(), {100: -127.0}), kind=PlaceKind.WAREHOUSE)[0].reason == (
        Reason.RANGE
    )


@pytest.mark.parametrize("what", [What.AIR, What.SKIN, What.LIQUID])
def test_the_power_on_value_is_doubted_however_long_it_lasts(what):
    # DS18B20 data sheet: the register holds 0x0550, +85 °C, until the first conversion
    numbers = list(range(100, 160))
    series = replace(with_values(day(), dict.fromkeys(numbers, 85.0)), what=what)

    assert doubted(series) == numbers


def test_85_is_believed_of_a_skin_that_was_as_hot_before():
    heated = readings(lambda h: 81.0 + h, first_h=0.0, last_h=8.0, every_s=600.0)

    assert 85.0 in heated.value_c
    assert doubted(replace(heated, what=What.SKIN)) == []


def test_the_power_on_value_is_known_by_what_the_sensor_gave():
    series = with_values(day(), {100: 84.0})
    raw = series.value_c + 1.0  # calibrated by −1 K

    assert doubted(replace(series, raw=raw, what=What.LIQUID)) == [100]


# Jumps


def test_a_spike_is_doubted_and_what_follows_is_not():
    found = doubts_of(with_values(day(), {100: 40.0}), kind=PlaceKind.VEHICLE)

    assert [(d.reason, d.value, d.other) for d in found] == [(Reason.JUMP, 40.0, 15.0)]
    assert (found[0].from_ms, found[0].until_ms) == (ms_of(100 / 12), ms_of(101 / 12))


@pytest.mark.parametrize(
    ("kind", "allowed"),
    [(PlaceKind.WAREHOUSE, 6.0), (PlaceKind.YARD, 10.5), (PlaceKind.VEHICLE, 13.0)],
)
def test_a_step_is_believed_at_once_if_air_there_can_move_so(kind, allowed):
    # 3 K and 0.6, 1.5 or 2 K a minute, over five minutes
    def step_of(kelvin):
        return with_values(day(), dict.fromkeys(range(100, 289), 15.0 - kelvin))

    assert doubted(step_of(allowed - 0.01), kind=kind) == []
    assert doubted(step_of(allowed + 0.01), kind=kind)


@pytest.mark.parametrize(
    ("every_s", "minutes"), [(60.0, 20.0), (300.0, 15.0), (600.0, 20.0), (3600.0, 120.0)]
)
def test_a_jump_that_lasts_is_believed_within_its_stated_time(every_s, minutes):
    cold = readings(
        lambda h: np.where(h < 6.0, 25.0, -25.0), first_h=0.0, last_h=12.0, every_s=every_s
    )
    found = doubts_of(cold, kind=PlaceKind.VEHICLE)

    assert [(d.reason, d.from_ms) for d in found] == [(Reason.JUMP, ms_of(6.0))]
    until = found[0].until_ms
    assert until is not None
    assert until - ms_of(6.0) <= minutes * 60_000


def test_a_ramp_that_air_cannot_do_is_doubted_though_each_of_its_steps_is_small():
    ramp = readings(
        lambda h: 15.0 + np.clip((h - 6.0) * 120.0, 0.0, 40.0),  # 2 K a minute, in a hall
        first_h=0.0,
        last_h=8.0,
        every_s=60.0,
    )
    found = doubts_of(ramp, kind=PlaceKind.WAREHOUSE)

    assert found[0].reason is Reason.JUMP
    assert ms_of(6.0) < found[0].from_ms <= ms_of(6.0) + 5 * 60_000
    assert found[-1].until_ms is not None
    assert found[-1].until_ms <= ms_of(6.0) + 20 * 60_000 + 25 * 60_000


def test_a_sensor_that_keeps_jumping_is_doubted_until_it_is_quiet():
    wild = {n: 15.0 + 25.0 * (n % 2) for n in range(100, 200)}
    numbers = doubted(with_values(day(), wild))

    # within an hour of the last quiet level it is believed whenever it comes back to it
    assert set(numbers) >= set(range(101, 200, 2))
    assert set(numbers) >= set(range(130, 200))
    # and quiet for a quarter of an hour
    assert max(numbers) in (200, 201, 202)


def test_after_a_silence_there_is_nothing_to_have_jumped_from():
    early, late = day(15.0), readings(-20.0, first_h=26.0, last_h=30.0)
    joined = replace(
        early,
        ts_ms=np.concatenate([early.ts_ms, late.ts_ms]),
        value_c=np.concatenate([early.value_c, late.value_c]),
    )

    assert doubted(joined) == []


def test_a_doubted_reading_says_what_the_last_trusted_one_said():
    series = with_values(day(), {0: 99.0, 100: 60.0, 101: 85.0})
    codes = codes_of(series, kind=PlaceKind.WAREHOUSE)
    said = trusted_values(series.value_c, codes=codes)
    trusted = last_trusted_ms(series.ts_ms, codes=codes)

    assert [Code(c) for c in codes[[0, 1, 100, 101, 102]]] == [
        Code.RANGE,
        Code.TRUSTED,
        Code.JUMP,
        Code.RANGE,
        Code.TRUSTED,
    ]
    assert np.isnan(said[0])
    assert (said[1:] == 15.0).all()
    assert trusted[0] == -1
    assert trusted[101] == series.ts_ms[99]


def test_a_standstill_found_elsewhere_is_told_from_its_true_beginning():
    series = replace(day(), stuck=((ms_of(-30.0), ms_of(10.0)), (ms_of(20.0), None)))
    found = doubts_of(series, kind=PlaceKind.WAREHOUSE)

    assert [(d.reason, d.from_ms, d.until_ms) for d in found] == [
        (Reason.STUCK, ms_of(-30.0), ms_of(10.0)),
        (Reason.STUCK, ms_of(20.0), None),
    ]
    assert found[0].holds_at(ms_of(9.9))
    assert not found[0].holds_at(ms_of(10.0))
    assert found[1].holds_at(ms_of(1000.0))


def test_spans_that_are_over_can_be_left_out():
    series = with_values(day(), {100: 60.0, 200: 60.0})

    assert len(doubts_of(series, kind=PlaceKind.YARD)) == 2
    assert len(doubts_of(series, kind=PlaceKind.YARD, since_ms=ms_of(12.0))) == 1


def test_nothing_said_is_nothing_doubted():
    empty = replace(day(), ts_ms=np.empty(0, dtype=np.int64), value_c=np.empty(0))

    assert doubts_of(empty, kind=PlaceKind.DOCK) == []


def test_slow_sensors_are_looked_back_on_further():
    assert look_back_ms(300.0) == 6 * 3_600_000
    assert look_back_ms(86_400.0) == 18 * 86_400_000
