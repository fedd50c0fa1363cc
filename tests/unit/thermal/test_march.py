"""Marching ahead: the well-stirred limit in closed form, and when limits are reached."""

import math
from itertools import pairwise

import numpy as np
import pytest

from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.march import (
    Course,
    Reach,
    first_at_or_above,
    first_at_or_below,
    likely_layers,
    march,
    reach_of,
)
from drumkeep.thermal.parameter_sets import SETS
from drumkeep.thermal.stratified import LAYERS, advance, depth
from tests.builders.liquid import liquid

STEP_S = 300.0


def marched(drum, *, start_c, air_c, **other) -> Course:
    """March one drum from one temperature under air given at every step's ends."""
    return march(
        np.full((SETS, 1, LAYERS), start_c),
        liquid=drum,
        air_c=np.asarray(air_c, dtype=np.float64)[:, None, None],
        drive_k=np.zeros(1),
        step_s=STEP_S,
        **other,
    )


def hours(reach: Reach) -> tuple[float, float, float, float]:
    """Fast, bottom, mean and slow hour of a target that all of them reach."""
    found = (reach.fast_h, reach.bottom_h, reach.mean_h, reach.slow_h)
    assert None not in found
    fast, bottom, mean, slow = (float(hour or 0.0) for hour in found)
    return fast, bottom, mean, slow


def stirred_tau_s(drum):
    """Heat capacity over films and faces, by hand."""
    height = float(depth(drum, mean_c=20.0)[0])
    capacity = 250.0 * 1800.0 + 18.1 * 465.0 * height / 0.850
    conductance = 8.0 * PERIMETER_M * height + (2.8 + 3.0) * CROSS_SECTION_M2
    return capacity / conductance


def test_a_stirred_drum_follows_the_exponential():
    drum = liquid()
    course = marched(drum, start_c=21.0, air_c=[-7.0] * 289, mixed=True)
    expected = -7.0 + 28.0 * np.exp(-course.seconds / stirred_tau_s(drum))

    assert course.band.mean[:, 0] == pytest.approx(expected, abs=1e-9)
    assert np.ptp(likely_layers(course), axis=1).max() == 0.0


def test_a_stirred_drum_follows_air_that_moves_on_a_straight_line():
    # dT/dt = (a + b t − T)/τ: T = a + b (t − τ) + (T0 − a + b τ) exp(−t/τ)
    drum = liquid()
    tau, rate = stirred_tau_s(drum), 1.5 / 3600.0
    seconds = np.arange(289) * STEP_S
    course = marched(drum, start_c=10.0, air_c=-7.0 + rate * seconds, mixed=True)
    expected = -7.0 + rate * (seconds - tau) + (17.0 + rate * tau) * np.exp(-seconds / tau)

    assert course.band.mean[:, 0] == pytest.approx(expected, abs=1e-9)


def test_marching_is_advancing_step_by_step():
    drum, air = liquid(), np.linspace(21.0, -7.0, 25)
    course = marched(drum, start_c=21.0, air_c=air)
    layers = np.full((1, LAYERS), 21.0)
    for before, after in pairwise(air):
        middle = np.array([0.5 * (before + after)])
        layers = advance(layers, liquid=drum, side_c=middle, seconds=STEP_S)

    assert likely_layers(course)[-1] == pytest.approx(layers[0], abs=1e-12)


def test_a_warm_floor_keeps_the_bottom_warmer():
    air = [-7.0] * 73
    cold = marched(liquid(), start_c=10.0, air_c=air)
    warm = marched(liquid(), start_c=10.0, air_c=air, floor_c=np.full((73, 1, 1), 15.0))

    assert warm.band.bottom[-1, 0] > cold.band.bottom[-1, 0]


def test_what_drove_the_drum_before_counts_for_six_hours():
    drum = liquid()
    air = [10.0] * (7 * 12 + 1)
    start = np.full((SETS, 1, LAYERS), 10.0)
    quiet, driven = (
        march(
            start,
            liquid=drum,
            air_c=np.asarray(air)[:, None, None],
            drive_k=np.array([drive]),
            step_s=STEP_S,
        ).band
        for drive in (0.0, 30.0)
    )
    width_quiet, width_driven = (b.high[:, 0] - b.low[:, 0] for b in (quiet, driven))

    assert width_driven[0] > width_quiet[0] + 2.0
    assert width_driven[6 * 12] > width_quiet[6 * 12] + 2.0
    assert width_driven[-1] == pytest.approx(width_quiet[-1])


def test_first_crossings_are_found_between_the_steps():
    values = np.array([[0.0, 5.0, 9.0], [2.0, 5.0, 8.0], [6.0, 5.0, 7.0]])

    found = first_at_or_above(values, limit=5.0)
    assert found.tolist() == [1.75, 0.0, 0.0]
    found = first_at_or_below(values, limit=7.5)
    assert found.tolist() == [0.0, 0.0, 1.5]


def test_what_is_never_reached_is_not_a_number():
    values = np.array([[0.0], [1.0], [2.0]])

    assert math.isnan(first_at_or_above(values, limit=2.1)[0])
    assert math.isnan(first_at_or_below(values, limit=-0.1)[0])


def test_limits_may_differ_from_drum_to_drum():
    values = np.array([[0.0, 0.0], [4.0, 4.0]])

    assert first_at_or_above(values, limit=np.array([1.0, 2.0])).tolist() == [0.25, 0.5]


@pytest.mark.parametrize(("start_c", "air_c", "target_c"), [(4.0, 27.0, 15.0), (21.0, -7.0, 10.0)])
def test_any_liquid_crosses_before_the_likely_and_all_of_it_after(start_c, air_c, target_c):
    course = marched(liquid(), start_c=start_c, air_c=[air_c] * (48 * 12 + 1))
    fast, bottom, mean, slow = hours(reach_of(course, target_c=target_c))

    assert fast < min(bottom, mean)
    assert slow > max(bottom, mean)


def test_the_bottom_is_cold_before_the_mean_and_warm_after_it():
    cooling = reach_of(marched(liquid(), start_c=21.0, air_c=[-7.0] * 577), target_c=10.0)
    warming = reach_of(marched(liquid(), start_c=4.0, air_c=[27.0] * 577), target_c=15.0)
    _, cooling_bottom, cooling_mean, _ = hours(cooling)
    _, warming_bottom, warming_mean, _ = hours(warming)

    assert cooling_bottom < cooling_mean
    assert warming_bottom > warming_mean


def test_hours_of_a_crossing_are_those_at_which_the_course_is_there():
    course = marched(liquid(), start_c=4.0, air_c=[27.0] * 577)
    _, _, mean, _ = hours(reach_of(course, target_c=15.0))
    then = np.interp(mean, course.seconds / 3600.0, course.band.mean[:, 0])

    assert then == pytest.approx(15.0, abs=1e-9)


def test_a_target_beyond_the_air_is_never_reached_by_the_likely_liquid():
    reach = reach_of(marched(liquid(), start_c=4.0, air_c=[20.0] * 577), target_c=25.0)

    assert (reach.bottom_h, reach.mean_h, reach.slow_h) == (None, None, None)


def test_a_target_that_holds_at_the_start_is_reached_at_once():
    reach = reach_of(marched(liquid(), start_c=15.0, air_c=[27.0] * 13), target_c=15.0)

    assert (reach.bottom_h, reach.mean_h, reach.fast_h) == (0.0, 0.0, 0.0)


def test_a_target_above_the_bottom_and_below_the_mean_is_reached_by_the_mean_alone():
    # In air of 12 °C the bottom, at 10 °C, never gets to 15 °C; the mean, at 17 °C, cools to it.
    start = np.linspace(10.0, 24.0, LAYERS)
    course = march(
        np.broadcast_to(start, (SETS, 1, LAYERS)),
        liquid=liquid(),
        air_c=np.full((577, 1, 1), 12.0),
        drive_k=np.zeros(1),
        step_s=STEP_S,
    )
    reach = reach_of(course, target_c=15.0)

    assert reach.bottom_h is None
    assert reach.mean_h is not None
    assert reach.mean_h > 0.0
