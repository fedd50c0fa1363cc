"""Where a drum's liquid starts: measured, from the air it came from, or from its first dip."""

import numpy as np
import pytest

from drumkeep.domain.drum_past import DrumPast
from drumkeep.domain.grid import STEPS_PER_HOUR
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_beside import beside_of
from drumkeep.domain.liquid_measured import Use
from drumkeep.domain.liquid_observed import observe, reading_of
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import UNSUPPORTED_K, Solids
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from tests.builders.past import (
    FIRST,
    HALL,
    ISO,
    RESIN,
    advanced,
    band_after,
    event,
    place,
    received,
    state_after,
    step,
)

LOOSE = StartAir(low_c=0.0, mean_c=8.0, high_c=16.0)


def bottom(states):
    return float(states["layers"][0, LIKELY, 0])


def mean(states):
    return float(states["layers"][0, LIKELY].mean())


# The start of a drum


def test_a_drum_measured_on_receipt_starts_there_and_is_known():
    states = state_after([received(liquid_c=24.0)], hours=0.0, places=20.0)

    assert (states["layers"][0, LIKELY] == 24.0).all()
    assert states["resolved"][0]


def test_a_drum_not_measured_starts_at_the_air_it_came_from_in_three_states():
    states = state_after([received()], hours=0.0, places=20.0, start_air=LOOSE)

    assert [float(states["layers"][0, s, 0]) for s in (SLOW, LIKELY, FAST)] == [0.0, 8.0, 16.0]
    assert states["doubt_k"][0] == 16.0
    assert not states["resolved"][0]


@pytest.mark.parametrize("named", [True, False])
def test_steady_air_where_it_came_from_makes_nothing_known_that_nobody_measured(named):
    steady = StartAir(low_c=21.9, mean_c=22.0, high_c=22.1, named=named)
    begun = state_after([received()], hours=0.0, places=22.0, start_air=steady)
    day = state_after([received()], hours=24.0, places=22.0, start_air=steady)

    assert not begun["resolved"][0]
    assert not day["resolved"][0]


@pytest.mark.parametrize("truck_c", [-20.0, -5.0, 40.0])
def test_the_band_of_a_drum_off_a_suppliers_truck_holds_whatever_the_truck_was_at(truck_c):
    dock = StartAir(low_c=21.5, mean_c=22.0, high_c=22.5, named=False)
    for hours in (0.0, 12.0, 48.0, 96.0, 168.0):
        states = state_after([received()], hours=hours, places=22.0, start_air=dock)
        true = state_after([received(liquid_c=truck_c)], hours=hours, places=22.0)
        if states["resolved"][0]:
            assert abs(mean(true) - mean(states)) < UNSUPPORTED_K
        else:
            band = band_after(states, hours=hours)
            assert band.low[0] <= bottom(true)
            assert band.mean_low[0] <= mean(true) <= band.mean_high[0]


def test_iso_that_may_have_come_frozen_is_suspect_once_it_counts_as_known():
    dock = StartAir(low_c=21.5, mean_c=22.0, high_c=22.5, named=False)
    late_dip = event("dipped", 72.0, c=21.0)

    faded = state_after([received()], hours=240.0, places=22.0, start_air=dock)
    dipped = state_after([received(), late_dip], hours=73.0, places=22.0, start_air=dock)
    soon = [received(), event("dipped", 1.0, c=20.0)]
    at_once = state_after(soon, hours=73.0, places=22.0, start_air=dock)

    assert faded["resolved"][0]
    assert faded["solids"][0] == Solids.SUSPECTED
    assert dipped["solids"][0] == Solids.SUSPECTED
    assert at_once["solids"][0] == Solids.NONE


def test_a_skin_reading_at_receipt_and_dips_that_agree_with_it_are_believed():
    f = celsius_from_fahrenheit
    dock = StartAir(low_c=f(51.0), mean_c=f(52.0), high_c=f(52.8), named=False)
    events = [
        received(),
        event("skin", 0.1, c=f(64.0)),
        event("dipped", 1.2, c=f(63.0)),
        event("dipped", 1.5, c=f(64.0)),
    ]
    found = advanced(events, hours=2.0, places=f(52.0), start_air=dock)

    assert all(met.taken.use is not Use.REFUSED for met in found.measurements)
    assert mean(found.states) == pytest.approx(f(63.5), abs=0.8)
    assert bottom(found.states) < f(64.5)


def test_a_drum_without_any_air_on_record_has_no_temperature():
    states = state_after([received()], hours=5.0, places=20.0)

    assert np.isnan(states["layers"]).all()
    assert not states["resolved"][0]


def test_a_drum_without_any_air_on_record_is_known_from_its_first_dip():
    late_dip = event("dipped", 30.0, c=15.0)
    before = state_after([received(), late_dip], hours=29.9, places=20.0)
    after = state_after([received(), late_dip], hours=30.0, places=20.0)

    assert np.isnan(before["layers"]).all()
    assert (after["layers"][0, LIKELY] == 15.0).all()
    assert after["resolved"][0]


def test_what_an_unknown_start_leaves_fades_until_the_drum_counts_as_known():
    hours = [0.0, 24.0, 48.0, 96.0]
    found = [state_after([received()], hours=h, places=12.0, start_air=LOOSE) for h in hours]
    doubts = [float(s["doubt_k"][0]) for s in found]

    assert doubts == sorted(doubts, reverse=True)
    assert [bool(s["resolved"][0]) for s in found] == [d < UNSUPPORTED_K for d in doubts]
    assert found[-1]["resolved"][0]


@pytest.mark.parametrize("product", [ISO, RESIN], ids=["iso", "resin"])
@pytest.mark.parametrize("air_c", [-10.0, 4.0, 25.0])
def test_doubt_fades_no_faster_than_drums_that_began_apart_come_together(product, air_c):
    apart = [(0.0, 16.0), (-12.0, -4.0), (8.0, 12.5)]
    unmeasured = [
        DrumPast(1, product, [received()], FIRST, None, StartAir(low, 0.5 * (low + high), high))
        for low, high in apart
    ]
    measured = [
        DrumPast(1, product, [received(liquid_c=start)], FIRST) for ends in apart for start in ends
    ]
    course = advance_drums(
        [*unmeasured, *measured],
        places={HALL: place(air_c, hours=72.0, motion="fan")},
        until=step(72.0),
    )
    for row in range(len(apart)):
        known = next(c.states for c in course.checkpoints[1:] if c.states["resolved"][row])
        low, high = known["layers"][len(apart) + 2 * row :][:2, LIKELY]
        assert np.abs(high - low).max() < 1.25 * UNSUPPORTED_K
        assert np.abs(high.mean() - low.mean()) < UNSUPPORTED_K


@pytest.mark.parametrize("air_c", [-10.0, 30.0])
def test_the_band_of_an_unknown_start_holds_a_drum_from_either_end_all_the_way(air_c):
    for hours in (1.0, 6.0, 13.0, 24.0, 48.0):
        band = band_after(
            state_after([received()], hours=hours, places=air_c, start_air=LOOSE), hours=hours
        )
        for start in (LOOSE.low_c, LOOSE.high_c):
            other = state_after([received(liquid_c=start)], hours=hours, places=air_c)
            assert band.mean_low[0] <= mean(other) <= band.mean_high[0]
            assert band.low[0] <= bottom(other)
            assert other["layers"][0, LIKELY, -1] <= band.high[0]


# The first measurement after an unmeasured receipt


@pytest.mark.parametrize("kind", ["dipped", "skin"])
def test_a_first_measurement_within_a_day_sets_the_start_back_to_the_receipt(kind):
    true_start = 13.0
    known = [received(liquid_c=true_start)]
    at_ten = state_after(known, hours=10.0, places=4.0)
    look = event(kind, 10.0, c=0.0, height_m=0.42)
    beside = beside_of(
        at_ten,
        reading=reading_of(look),
        product=ISO,
        share=1.0,
        heat=place(4.0, hours=10.0),
        step=step(10.0),
    )
    seen = observe(reading_of(look), states=at_ten, beside=beside).of(at_ten["layers"][0, LIKELY])
    measured = [received(), event(kind, 10.0, c=float(seen), height_m=0.42)]

    whole = advanced(measured, hours=10.0, places=4.0, start_air=LOOSE)
    for checkpoint in whole.checkpoints[1:]:
        truth = state_after(known, hours=(checkpoint.step - FIRST) / STEPS_PER_HOUR, places=4.0)
        assert mean(checkpoint.states) == pytest.approx(mean(truth), abs=0.1)
        assert checkpoint.states["resolved"][0]


def test_seeding_memory_runs_from_the_receipt_once_a_dip_has_set_the_start():
    # The air says 8 °C give or take 8; the dip after six hours says it came at about 6 °C.
    measured = [received(), event("dipped", 6.0, c=6.0, height_m=0.1)]
    without = state_after([received()], hours=6.0, places=6.0, start_air=LOOSE)
    found = state_after(measured, hours=6.0, places=6.0, start_air=LOOSE)

    assert without["cold_steps"][0] == 0
    assert found["cold_steps"][0] == 6 * STEPS_PER_HOUR


def test_a_first_measurement_after_more_than_a_day_leaves_the_start():
    measured = [received(), event("dipped", 24.5, c=10.0)]
    found = advanced(measured, hours=24.5, places=4.0, start_air=LOOSE)
    plain = advanced([received()], hours=24.5, places=4.0, start_air=LOOSE)

    for ours, theirs in zip(found.checkpoints, plain.checkpoints, strict=True):
        assert (ours.states["layers"] == theirs.states["layers"]).all()
    assert found.states["resolved"][0]
    assert mean(found.states) != mean(plain.states)


def test_only_the_first_measurement_sets_the_start():
    first = event("dipped", 6.0, c=9.0)
    two = [received(), first, event("dipped", 7.0, c=14.0)]
    found = advanced(two, hours=7.0, places=4.0, start_air=LOOSE)
    one = advanced([received(), first], hours=7.0, places=4.0, start_air=LOOSE)

    assert mean(found.checkpoints[1].states) == mean(one.checkpoints[1].states)


def test_a_drum_measured_on_receipt_keeps_its_start_whatever_is_dipped_later():
    events = [received(liquid_c=20.0), event("dipped", 6.0, c=9.0)]
    found = advanced(events, hours=6.0, places=4.0, start_air=LOOSE)

    assert (found.checkpoints[1].states["layers"][0, LIKELY] <= 20.0).all()
    assert mean(found.checkpoints[1].states) > 18.0


def test_a_dip_that_no_longer_tells_the_start_leaves_it_where_the_air_put_it():
    # Ten kilograms follow the air within hours: after a day in 4 °C any start reads about 4 °C, and
    # a dip of 5 °C must not be turned into a start of dozens of degrees.
    measured = [received(net_kg=10.0), event("dipped", 23.0, c=5.0)]
    found = advanced(measured, hours=23.0, places=4.0, start_air=LOOSE)
    first = found.checkpoints[1].states["layers"][0, LIKELY].mean()

    assert LOOSE.low_c <= first <= LOOSE.high_c
