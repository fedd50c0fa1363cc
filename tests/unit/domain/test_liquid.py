"""The engine that advances drums: places, gaps, restarts."""

import numpy as np
import pytest

from drumkeep.domain.drum_past import DrumPast
from drumkeep.domain.grid import STEPS_PER_HOUR, step_at
from drumkeep.domain.liquid import CHECKPOINT_STEPS, advance_drums
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import LIQUID_STATE, UNSUPPORTED_K, states_from_bytes
from drumkeep.domain.places import PlaceKind
from drumkeep.thermal.parameter_sets import LIKELY
from tests.builders.past import (
    FIRST,
    HALL,
    ISO,
    RESIN,
    VAN,
    advanced,
    band_after,
    event,
    joined,
    place,
    readings,
    received,
    state_after,
    step,
)

LOOSE = StartAir(low_c=0.0, mean_c=8.0, high_c=16.0)


def day(h):
    """A day and a night, °C."""
    return 5.0 + 12.0 * np.sin(h * np.pi / 12.0)


def bottom(states):
    return float(states["layers"][0, LIKELY, 0])


def mean(states):
    return float(states["layers"][0, LIKELY].mean())


def eventful(start_liquid=None):
    """A drum's rich past over two days: every kind of event that touches the liquid."""
    data = {} if start_liquid is None else {"liquid_c": start_liquid}
    return [
        received(0.02, **data),
        event("moved", 3.3, to=VAN),
        event("agitated", 6.01, minutes=20.0),
        event("dipped", 9.7, c=9.0, height_m=0.1),
        event("opened", 10.0),
        event("weighed", 12.2, net_kg=180.0),
        event("resealed", 12.3),
        event("moved", 15.0, to=HALL),
        event("decanted", 18.9, kg=30.0),
        event("topped", 20.1, kg=12.0),
        event("blanketed", 21.0, gas="nitrogen", kpa=14.0),
        event("heated", 24.0, device="band", watts=300.0, until="2026-01-11T04:00:00+00:00"),
        event("skin", 30.0, c=12.0, height_m=0.3),
        event("inspected", 33.0, reached_bottom=True, solids="none", bulge="none"),
        event("vented", 36.0),
    ]


def two_places(hours=48.0):
    gap = joined(
        readings(day, first_h=0.0, last_h=5.0),
        readings(day, first_h=11.0, last_h=hours),
    )
    return {
        HALL: place(18.0, hours=hours),
        VAN: place(gap, hours=hours, motion="fan", kind=PlaceKind.VEHICLE),
    }


# Air and places


def test_a_drum_moved_feels_the_air_of_where_it_is():
    places = {HALL: place(20.0, hours=12.0), VAN: place(-7.0, hours=12.0, motion="fan")}
    stayed = state_after([received(liquid_c=20.0)], hours=12.0, places=places)
    moved = state_after(
        [received(liquid_c=20.0), event("moved", 6.0, to=VAN)], hours=12.0, places=places
    )

    assert mean(stayed) == pytest.approx(20.0)
    assert bottom(moved) < 10.0
    assert moved["place"][0] == VAN


def test_a_gap_lets_the_band_grow_and_known_air_closes_it_again():
    series = joined(
        readings(10.0, first_h=0.0, last_h=6.0), readings(10.0, first_h=30.0, last_h=168.0)
    )
    hall = {HALL: place(series, hours=168.0, extremes=(-5.0, 25.0))}

    def width(hours):
        states = state_after([received(liquid_c=10.0)], hours=hours, places=hall)
        band = band_after(states, hours=hours)
        return float(band.high[0] - band.low[0])

    assert width(6.0) < 2.0
    assert width(12.0) > width(8.0) > width(6.0)
    assert width(30.0) > 15.0
    assert width(168.0) < 3.0


def test_a_gap_is_over_once_it_has_left_less_than_two_kelvin():
    series = joined(
        readings(10.0, first_h=0.0, last_h=6.0), readings(10.0, first_h=30.0, last_h=168.0)
    )
    hall = {HALL: place(series, hours=168.0, extremes=(-5.0, 25.0))}
    doubts = [
        float(state_after([received(liquid_c=10.0)], hours=h, places=hall)["doubt_k"][0])
        for h in (5.0, 12.0, 30.0, 60.0, 168.0)
    ]

    assert doubts[0] < UNSUPPORTED_K
    assert doubts[1] > UNSUPPORTED_K
    assert doubts[2] > doubts[1]
    assert doubts[3] < doubts[2]
    assert doubts[4] < UNSUPPORTED_K


def test_the_likely_liquid_follows_the_straight_line_through_a_gap():
    series = joined(
        readings(10.0, first_h=0.0, last_h=2.0), readings(10.0, first_h=20.0, last_h=24.0)
    )
    gap = state_after(
        [received(liquid_c=10.0)], hours=24.0, places={HALL: place(series, hours=24.0)}
    )

    assert mean(gap) == pytest.approx(10.0)


def test_a_place_without_a_sensor_keeps_the_likely_liquid_and_loses_all_certainty():
    states = state_after(
        [received(liquid_c=18.0)], hours=24.0, places={HALL: place(None, hours=24.0)}
    )
    band = band_after(states, hours=24.0)

    assert mean(states) == pytest.approx(18.0)
    assert band.low[0] < 8.0
    assert band.high[0] > 22.0
    assert states["doubt_k"][0] > UNSUPPORTED_K


def test_a_drum_gone_is_advanced_no_further():
    events = [received(liquid_c=20.0), event("emptied", 3.0)]
    found = advanced(events, hours=12.0, places=-7.0)

    assert not found.states["alive"][0]
    assert found.states["mass_kg"][0] == 0.0
    assert mean(found.states) == mean(
        state_after([received(liquid_c=20.0)], hours=3.0, places=-7.0)
    )
    assert max(c.step for c in found.checkpoints) <= step(3.0)


def test_a_day_cannot_pass_a_drum_by_before_it_is_received():
    early = event("moved", 1.0, to=VAN)
    places = {HALL: place(20.0, hours=6.0), VAN: place(0.0, hours=6.0)}
    states = state_after([early, received(2.0, liquid_c=20.0)], hours=6.0, places=places)

    assert states["place"][0] == HALL


# Restarts


@pytest.mark.parametrize("liquid_c", [None, 20.0], ids=["unmeasured", "measured"])
@pytest.mark.parametrize("product", [ISO, RESIN], ids=["iso", "resin"])
def test_a_restart_from_any_checkpoint_gives_the_same_to_the_last_digit(liquid_c, product):
    events, places = eventful(liquid_c), two_places()
    how = {"hours": 48.0, "places": places, "product": product}
    whole = advanced(events, start_air=LOOSE, **how)

    assert len(whole.checkpoints) == 48 * STEPS_PER_HOUR // CHECKPOINT_STEPS
    for checkpoint in whole.checkpoints[::5]:
        stored = states_from_bytes([checkpoint.states[0].tobytes()])
        later = [e for e in events if step_at(e.at) >= checkpoint.step]
        again = advanced(later, start=checkpoint.step, state=stored, **how)
        assert_same(again.states, whole.states)


def assert_same(ours, theirs):
    for name in LIQUID_STATE.names or ():
        assert np.allclose(
            ours[name].astype(float),
            theirs[name].astype(float),
            rtol=0.0,
            atol=1e-12,
            equal_nan=True,
        ), name


def test_a_checkpoint_holds_just_before_the_events_of_its_step():
    moved = event("moved", 3.0, to=VAN)
    places = {HALL: place(20.0, hours=6.0), VAN: place(0.0, hours=6.0)}
    found = advanced([received(liquid_c=20.0), moved], hours=6.0, places=places)
    (at_three,) = [c for c in found.checkpoints if c.step == step(3.0)]

    assert at_three.states["place"][0] == HALL


def test_checkpoints_lie_on_the_half_hours_of_the_clock_whenever_a_drum_began():
    found = advanced([received(0.4, liquid_c=20.0)], hours=3.0, places=20.0, start=step(0.4))

    assert [c.step - FIRST for c in found.checkpoints] == [6, 12, 18, 24, 30, 36]


def test_late_readings_give_the_same_as_timely_ones():
    # Half of the night's readings come in the morning. What was computed up to the last reading on
    # record stands; from there on it is computed anew.
    curve = readings(day, first_h=0.0, last_h=24.0)
    cut = 9.0
    early = readings(day, first_h=0.0, last_h=cut)
    events = [received(liquid_c=15.0)]
    timely = advanced(events, hours=24.0, places={HALL: place(curve, hours=24.0)})
    provisional = advanced(events, hours=24.0, places={HALL: place(early, hours=24.0)})

    final = [c for c in provisional.checkpoints if c.step <= step(cut)]
    for ours, theirs in zip(final, timely.checkpoints, strict=False):
        assert_same(ours.states, theirs.states)
    amended = advanced(
        [],
        start=final[-1].step,
        state=states_from_bytes([final[-1].states[0].tobytes()]),
        hours=24.0,
        places={HALL: place(curve, hours=24.0)},
    )
    assert_same(amended.states, timely.states)
    assert mean(provisional.states) != pytest.approx(mean(timely.states), abs=0.5)


def test_drums_computed_together_are_as_each_alone():
    places = two_places()
    pasts = [
        DrumPast(key=1, product=ISO, events=eventful(20.0), start=FIRST),
        DrumPast(key=2, product=RESIN, events=eventful(), start=FIRST, start_air=LOOSE),
        DrumPast(
            key=3,
            product=ISO,
            events=[received(7.0, liquid_c=3.0, place=VAN, net_kg=40.0)],
            start=step(7.0),
            share=0.6,
        ),
        DrumPast(key=4, product=ISO, events=[received()], start=FIRST),
    ]
    together = advance_drums(pasts, places=places, until=step(48.0)).states

    for row, past in enumerate(pasts):
        alone = advance_drums([past], places=places, until=step(48.0)).states
        assert_same(together[row : row + 1], alone)


def test_no_drums_are_no_trouble():
    assert len(advance_drums([], places={}, until=FIRST).states) == 0


def test_a_partial_drum_swings_further_than_a_full_one():
    full, heel = (
        state_after([received(liquid_c=20.0, net_kg=kg)], hours=8.0, places=-5.0)
        for kg in (250.0, 40.0)
    )

    assert mean(heel) < mean(full) - 3.0


def test_a_crowded_drum_swings_less_than_one_alone():
    def after(share):
        past = DrumPast(
            key=1, product=ISO, events=[received(liquid_c=20.0)], start=FIRST, share=share
        )
        return advance_drums(
            [past], places={HALL: place(-5.0, hours=12.0)}, until=step(12.0)
        ).states

    assert mean(after(0.6)) > mean(after(1.0)) + 1.0
