"""What a band is made of, and what would narrow it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.drum_past import DrumPast
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import band_at, empty_states, likely_mean
from drumkeep.domain.why import (
    DIPS,
    WORTH_K,
    Cause,
    Standing,
    Way,
    best_of,
    options_of,
    width_of,
)
from drumkeep.domain.why_words import Writer, best_words, option_words
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import LAYERS, eighths
from tests.builders.measured import EVEN, STACK, drum
from tests.builders.past import HALL, ISO, event, place, received, state_after, step

HOURS = 12.0
PLAIN = Writer(span=lambda a, b: f"{a:.1f} to {b:.1f}", difference=lambda k: f"{k:.1f}")


def standing(states, *, air=8.0, hours=HOURS) -> Standing:
    return Standing(
        states=states,
        product=ISO,
        share=1.0,
        heat=place(air, hours=hours),
        step=step(hours),
    )


def cooled(**how):
    """A drum that came in warm and not dipped, twelve hours in the cold."""
    begun = {"start_air": StartAir(low_c=12.0, mean_c=20.0, high_c=26.0)} | how
    return state_after([received()], hours=HOURS, places=-5.0, **begun)


def told(now: Standing, *, error_k=None):
    error = now.heat.air.error_at(now.step) if error_k is None else error_k
    drive = np.abs(now.air_c - likely_mean(now.states))
    return band_at(now.states, step=now.step, sensor_error_k=error, drive_k=drive)


@given(
    warm=st.tuples(st.floats(-5.0, 30.0), st.floats(0.0, 15.0)),
    apart=st.tuples(st.floats(-6.0, 6.0), st.floats(-6.0, 6.0)),
    doubt=st.floats(0.0, 20.0),
    driven=st.floats(0.0, 40.0),
    error=st.floats(0.0, 2.0),
)
def test_parts_are_never_negative_and_add_up_to_half_of_the_band(warm, apart, doubt, driven, error):
    bottom, steep = warm
    stack = bottom + steep * (STACK - STACK[0]) / 8.0
    states = drum(stack, slow=apart[0], fast=apart[1], driven_k=driven)
    states["doubt_k"] = doubt
    now = standing(states)
    found = width_of(now, sensor_error_k=error)
    band = told(now, error_k=error)
    assert found.low_c == pytest.approx(float(band.low[0]))
    assert found.high_c == pytest.approx(float(band.high[0]))
    # to a billionth of a kelvin: the parts telescope
    assert sum(found.parts.values()) == pytest.approx(found.half_k, abs=1e-9)
    assert min(found.parts.values()) >= -1e-9


def parts_of(states, *, error_k=0.0):
    return width_of(standing(states), sensor_error_k=error_k).parts


def test_each_cause_shows_alone_what_it_is():
    # each by the definition of the band: half of what its cause puts between low and high
    still = drum(EVEN, slow=0.0, fast=0.0)
    rest = parts_of(still)
    assert [cause for cause, k in rest.items() if k > 0.0] == [Cause.MODEL]
    apart = drum(EVEN, slow=-1.5, fast=1.5)
    apart["doubt_k"] = 0.0
    assert parts_of(apart)[Cause.PROPERTIES] == pytest.approx(1.5)
    assert parts_of(still, error_k=0.7)[Cause.SENSORS] == pytest.approx(0.7)
    stack = drum(STACK, slow=0.0, fast=0.0)
    eighth = 0.5 * float(eighths(STACK)[-1] - eighths(STACK)[0])
    assert parts_of(stack)[Cause.LAYERS] == pytest.approx(eighth)
    doubted = still.copy()
    doubted["doubt_k"] = 6.0
    assert parts_of(doubted)[Cause.DOUBT] == pytest.approx(3.0)
    driven = parts_of(drum(EVEN, slow=0.0, fast=0.0, driven_k=20.0))
    assert driven[Cause.MODEL] > rest[Cause.MODEL]


def test_doubt_that_the_sets_show_is_not_counted_twice():
    states = drum(EVEN, slow=-4.0, fast=4.0)
    assert states["doubt_k"][0] == 8.0
    found = parts_of(states)
    assert found[Cause.DOUBT] == pytest.approx(4.0)
    assert found[Cause.PROPERTIES] == pytest.approx(0.0)


def dipped(now: Standing, *, height_m: float):
    """The half-width after a dip that goes the way of every event and finds what was computed."""
    depth = height_m / now.depth_m
    share = (np.arange(LAYERS) + 0.5) / LAYERS
    c = float(np.interp(depth, share, now.states["layers"][0, LIKELY]))
    dip = event("dipped", HOURS, c=c, height_m=height_m)
    past = DrumPast(key=1, product=ISO, events=[dip], start=now.step, state=now.states.copy())
    after = advance_drums([past], places={HALL: now.heat}, until=now.step).states
    band = told(replace(now, states=after))
    return float(0.5 * (band.high - band.low)[0])


@pytest.mark.parametrize(
    "states",
    [
        pytest.param(cooled(), id="came in undipped and cools"),
        pytest.param(
            state_after([received(liquid_c=21.0)], hours=HOURS, places=-7.0), id="dipped and cools"
        ),
        pytest.param(
            state_after([received(liquid_c=4.0)], hours=HOURS, places=27.0), id="dipped and warms"
        ),
    ],
)
def test_recommended_dip_narrows_most_when_it_is_recorded(states):
    now = standing(states, air=-5.0)
    options = options_of(now, humidity_assumed=True)
    best = best_of(options, now=width_of(now))
    assert best is not None
    assert best.way in DIPS
    by_event = {way: dipped(now, height_m=share * now.depth_m) for way, share in DIPS.items()}
    assert min(by_event, key=lambda way: by_event[way]) == best.way
    expected = {o.way: o.half_k for o in options}
    for way, half in by_event.items():
        # two codes for one step; the reading is rounded nowhere
        assert half == pytest.approx(expected[way], abs=1e-6)
    assert best.half_k < width_of(now).half_k - WORTH_K


def test_options_come_best_first_and_none_widens_the_band():
    now = standing(cooled())
    options = options_of(now, humidity_assumed=True)
    halves = [o.half_k for o in options]
    assert halves == sorted(halves)
    assert halves[-1] <= width_of(now).half_k + 1e-9
    assert {o.way for o in options} == set(Way)
    assert Way.HUMIDITY_SENSOR not in {o.way for o in options_of(now, humidity_assumed=False)}


def test_asking_leaves_the_drum_as_it_is():
    states = cooled()
    before = states.tobytes()
    options_of(standing(states), humidity_assumed=True)
    assert states.tobytes() == before


def test_skin_says_less_than_a_dip_in_the_middle():
    options = {o.way: o.half_k for o in options_of(standing(cooled()), humidity_assumed=False)}
    assert options[Way.DIP_MIDDLE] < options[Way.SKIN]


def test_sensor_where_none_hangs_lets_doubt_fade_within_a_day():
    states = cooled()
    bare = standing(states, air=None)
    found = {o.way: o for o in options_of(bare, humidity_assumed=False)}[Way.AIR_SENSOR]
    now = width_of(bare)
    assert found.half_k < now.half_k
    assert found.day_later_k is not None
    assert 0.0 < found.day_later_k < found.half_k
    words = option_words(found, now=now, air_known=False, write=PLAIN)
    assert "after a day" in words


def test_second_sensor_and_scales_are_said_not_to_narrow_it():
    now = standing(cooled())
    width = width_of(now)
    options = {o.way: o for o in options_of(now, humidity_assumed=False)}
    for way in (Way.AIR_SENSOR, Way.WEIGHING):
        assert options[way].half_k == width.half_k
        said = option_words(options[way], now=width, air_known=True, write=PLAIN)
        assert said.startswith("no narrower")


def test_drum_of_which_nothing_is_known_is_to_be_dipped():
    states = empty_states(1)
    states["alive"] = True
    states["mass_kg"] = 250.0
    states["place"] = HALL
    now = standing(states)
    options = options_of(now, humidity_assumed=True)
    best = best_of(options, now=None)
    assert best is not None
    assert best.way is Way.DIP_MIDDLE
    # 1.645 standard deviations of a dip, and the least model error: within about 1.2 K
    assert 0.8 < best.half_k < 1.5
    assert "within" in best_words(best, now=None, write=PLAIN)


def test_nothing_is_recommended_where_nothing_helps():
    now = standing(drum(EVEN, slow=0.0, fast=0.0))
    width = width_of(now)
    unchanged = [o for o in options_of(now, humidity_assumed=False) if o.way is Way.WEIGHING]
    assert best_of(unchanged, now=width) is None
    assert best_words(None, now=width, write=PLAIN).startswith("No measurement")


def test_best_is_said_with_the_band_before_and_after():
    now = standing(cooled(), air=-5.0)
    width = width_of(now)
    best = best_of(options_of(now, humidity_assumed=False), now=width)
    assert best is not None
    said = best_words(best, now=width, write=PLAIN)
    assert f"{width.low_c:.1f} to {width.high_c:.1f}" in said
    assert f"{best.low_c:.1f} to {best.high_c:.1f}" in said


def test_gain_that_rounding_hides_is_told_by_the_width():
    now = standing(cooled(), air=-5.0)
    width = width_of(now)
    best = best_of(options_of(now, humidity_assumed=False), now=width)
    coarse = replace(PLAIN, span=lambda _low, _high: "about so")
    said = best_words(best, now=width, write=coarse)
    assert best is not None
    assert f"only from {width.half_k:.1f} to {best.half_k:.1f} either way" in said
