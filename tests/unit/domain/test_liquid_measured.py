"""What a dip, a skin reading or a strap does to the computed liquid of one drum."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.liquid_measured import (
    GATE_SIGMAS,
    WIDEST_GATE_K,
    Taken,
    Use,
    covariance_of,
    left_by,
    take,
)
from drumkeep.domain.liquid_observed import (
    BY_HAND,
    Reading,
    height_row,
    observe,
)
from drumkeep.domain.liquid_state import (
    DISPUTED_STEPS,
    MEASURED_STEPS,
    NEVER,
    UNSUPPORTED_K,
    band_at,
    disputed,
    empty_states,
)
from drumkeep.thermal.band import TWO_SIDED_90, layer_error
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.stratified import LAYERS
from tests.builders.measured import DEPTH_M, EVEN, MIDDLE, NOW, STACK, beside, drum
from tests.builders.past import step


def dip(states, c, *, hours=NOW, sigma_k=0.5, **more) -> Taken:
    return take(Reading(c=c, sigma_k=sigma_k, **more), states=states, beside=beside(hours))


def likely(states):
    return states["layers"][0, LIKELY]


def band(states, hours=NOW):
    return band_at(states, step=step(hours), sensor_error_k=0.0, drive_k=np.zeros(1))


def width(states, hours=NOW):
    found = band(states, hours)
    return float(found.high[0] - found.low[0])


def stable(states):
    return bool((np.diff(states["layers"][0], axis=-1) >= -1e-9).all())


# The gain


def test_one_unknown_common_to_all_layers_is_weighed_as_the_textbook_says():
    # Two estimates of one number, variances (2/1.645)² and 0.5²: the mean weighted by their
    # inverses (any text on least squares). The model's own error at rest adds to the first.
    states = drum(slow=-2.0, fast=2.0)
    taken = dip(states, 9.0)

    beside_another = np.exp(-2.0 / LAYERS)  # 1/e over half the depth
    own = layer_error(np.zeros(1))[0, LAYERS // 2]
    prior = (2.0**2 + own**2 * 0.5 * (1.0 + beside_another)) / TWO_SIDED_90**2
    assert taken.expected_k == pytest.approx(np.sqrt(prior + 0.25))
    assert taken.after_c == pytest.approx(8.0 + prior / (prior + 0.25), abs=0.01)


def test_a_dip_a_kelvin_off_moves_the_liquid_towards_it_and_narrows_the_band():
    before, after = drum(), drum()
    taken = dip(after, 9.0)

    assert taken.use is Use.USED
    assert 8.0 < likely(after)[LAYERS // 2] < 9.0
    assert width(after) < width(before)
    assert taken.computed_c == pytest.approx(8.0)
    assert taken.innovation_k == pytest.approx(1.0)
    assert taken.after_c == pytest.approx(likely(after)[MIDDLE].mean())


def test_a_dip_that_agrees_moves_nothing_and_still_narrows():
    after = drum(STACK)
    dip(after, 8.0)

    assert likely(after) == pytest.approx(STACK)
    assert width(after) < width(drum(STACK))


def test_a_perfect_thermometer_is_believed_and_a_useless_one_is_not():
    perfect, useless = drum(), drum()
    dip(perfect, 9.0, sigma_k=1e-6)
    dip(useless, 9.0, sigma_k=1e6)

    assert likely(perfect)[MIDDLE].mean() == pytest.approx(9.0, abs=0.01)
    # a layer differs from the one beside it by no more than the model's error at rest
    assert perfect["layers"][0, :, MIDDLE].mean(axis=-1) == pytest.approx([9.0] * 3, abs=0.15)
    assert useless["layers"][0] == pytest.approx(drum()["layers"][0], abs=1e-6)
    assert width(useless) == pytest.approx(width(drum()))


def test_what_is_far_from_the_probe_moves_less_and_stays_less_certain():
    before, after = (drum(4.0 * STACK, slow=0.0, fast=0.0, driven_k=20.0) for _ in range(2))
    covariance = covariance_of(before, beside=beside())
    dip(after, 17.0, height_m=0.05)
    moved = np.abs(likely(after) - likely(before))
    left = after["kept"][0]

    # further up the model's own error is larger too: per standard deviation it moves less
    assert (np.diff(moved / np.sqrt(np.diag(covariance)))[1:] < 0.0).all()
    assert (np.diff(left)[1:] > 0.0).all()


@pytest.mark.parametrize("height_m", [None, 0.05, 0.7])
def test_liquid_drawn_from_what_is_not_known_is_then_as_far_off_as_the_band_says(height_m):
    # The test of any Kalman step: errors drawn from the covariance before lie, after it, within the
    # one after (Anderson and Moore 1979, ch. 3).
    steep = 4.0 * STACK
    before = covariance_of(drum(steep, driven_k=10.0), beside=beside())
    random = np.random.default_rng(3)
    root = np.linalg.cholesky(before + 1e-12 * np.eye(LAYERS))
    offs = []
    for _ in range(300):
        states = drum(steep, driven_k=10.0)
        truth = steep + root @ random.normal(size=LAYERS)
        reading = Reading(c=0.0, sigma_k=0.3, height_m=height_m)
        seen = observe(reading, states=states, beside=beside())
        c = float(seen.of(truth)) + random.normal(0.0, seen.sigma_k)
        take(replace(reading, c=c), states=states, beside=beside())
        offs.append(truth - likely(states))
    said = np.sqrt(np.diag(covariance_of(states, beside=beside())))
    found = np.sqrt(np.mean(np.square(offs), axis=0))

    assert found == pytest.approx(said, rel=0.15)
    assert (found <= 1.05 * np.sqrt(np.diag(before))).all()


def test_the_same_measurement_again_and_again_converges_to_it():
    states = drum(slow=-3.0, fast=3.0)
    offs, widths = [], [width(states)]
    for _ in range(30):
        dip(states, 9.5)
        offs.append(abs(9.5 - float(likely(states)[MIDDLE].mean())))
        widths.append(width(states))

    assert offs == sorted(offs, reverse=True)
    assert offs[-1] < 0.05
    assert widths == sorted(widths, reverse=True)


@given(
    stack=st.lists(st.floats(-20.0, 40.0), min_size=LAYERS, max_size=LAYERS),
    off=st.floats(-15.0, 15.0),
    sigma_k=st.floats(0.01, 10.0),
    apart=st.floats(0.0, 10.0),
    driven_k=st.floats(0.0, 30.0),
    height_m=st.one_of(st.none(), st.floats(0.0, 0.8)),
)
def test_no_measurement_overshoots_or_widens_the_band_or_upsets_the_stack(  # noqa: PLR0917
    stack, off, sigma_k, apart, driven_k, height_m
):
    stack = np.sort(stack)
    states = drum(stack, slow=-apart, fast=apart, driven_k=driven_k)
    row = height_row(height_m, depth_m=DEPTH_M)
    prior = row @ np.diag(covariance_of(states, beside=beside()))
    before = float(row @ stack)
    taken = dip(states, before + off, sigma_k=sigma_k, height_m=height_m)
    after = float(row @ likely(states))

    assert stable(states)
    assert row @ np.diag(covariance_of(states, beside=beside())) <= prior + 1e-9
    assert taken.after_c == pytest.approx(after)
    # what the overturning evens out may move a layer a little on its own
    assert min(0.0, off) - 1.0 <= after - before <= max(0.0, off) + 1.0
    if taken.use is Use.REFUSED:
        assert after == before


def test_the_grip_of_a_dip_on_the_band_fades_within_hours():
    plain, dipped = (drum(slow=0.0, fast=0.0, driven_k=30.0) for _ in range(2))
    dip(dipped, 8.0, height_m=0.05)

    widths = [width(dipped, NOW + hours) for hours in (0.0, 1.0, 2.0, 6.0, 24.0)]
    assert widths == sorted(widths)
    assert widths[0] < 0.85 * width(plain)
    assert widths[-1] == pytest.approx(width(plain), rel=0.01)
    assert MEASURED_STEPS == 24  # two hours


def test_a_reading_is_worth_most_where_least_is_known():
    states = drum(STACK, driven_k=20.0)

    def bottom_width(height_m, *, on_wall=False):
        reading = Reading(c=0.0, sigma_k=0.5, height_m=height_m, on_wall=on_wall)
        found = band(left_by(reading, states=states, beside=beside()))
        return float(found.bottom_high[0] - found.bottom_low[0])

    untouched = band(states)
    before = float(untouched.bottom_high[0] - untouched.bottom_low[0])
    assert bottom_width(0.05) < bottom_width(0.4) < bottom_width(0.4, on_wall=True) < before
    assert (states["layers"] == drum(STACK)["layers"]).all()


def test_the_air_sensors_error_counts_less_once_the_liquid_is_measured():
    def mean_width(states):
        found = band_at(states, step=step(NOW), sensor_error_k=1.0, drive_k=np.zeros(1))
        return float(found.mean_high[0] - found.mean_low[0])

    plain, dipped = drum(slow=0.0, fast=0.0), drum(slow=0.0, fast=0.0)
    take(Reading(c=8.0, sigma_k=0.2), states=dipped, beside=beside(sensor_error_k=1.0))

    assert mean_width(dipped) < 0.5 * mean_width(plain)


def test_a_dip_ends_what_was_in_doubt():
    states = drum(slow=-6.0, fast=6.0)
    dip(states, 12.0)

    assert states["doubt_k"][0] < UNSUPPORTED_K
    assert states["resolved"][0]


def test_a_drum_of_which_nothing_is_known_begins_at_what_is_measured():
    dipped, skin = empty_states(1), empty_states(1)
    for states in (dipped, skin):
        states["alive"], states["mass_kg"] = True, 250.0
    taken = dip(dipped, 15.0)
    take(
        Reading(c=15.0, sigma_k=0.5, on_wall=True),
        states=skin,
        beside=beside(air_c=20.0, share=0.5),
    )

    assert taken.use is Use.BEGAN
    assert likely(dipped) == pytest.approx(EVEN + 7.0)
    # a wall at 15 °C with air at 20 °C: the liquid as far below as the air is above
    assert likely(skin) == pytest.approx(EVEN + 2.0)
    assert dipped["resolved"][0]
    assert width(dipped) < width(skin)


# What is not believed


def test_a_dip_six_kelvin_off_is_noticed_and_moves_nothing():
    states = drum()
    taken = dip(states, 14.0)

    assert taken.use is Use.REFUSED
    assert (taken.measured_c, taken.after_c) == (14.0, taken.computed_c)
    assert (states["layers"] == drum()["layers"]).all()
    assert states["innovation_k"][0] == pytest.approx(6.0)
    assert disputed(states, step=step(NOW)).all()


def test_a_dip_six_kelvin_off_is_used_where_the_liquid_was_not_known():
    states = drum(slow=-8.0, fast=8.0)

    assert dip(states, 14.0).use is Use.USED
    assert likely(states)[LAYERS // 2] == pytest.approx(14.0, abs=0.1)


@pytest.mark.parametrize("apart", [0.0, 0.5, 0.9])
def test_the_gate_lies_at_three_standard_deviations_but_within_two_and_five_kelvin(apart):
    expected = dip(drum(slow=-apart, fast=apart), 8.0).expected_k or 0.0
    gate = min(max(GATE_SIGMAS * expected, 2.0), WIDEST_GATE_K)

    assert dip(drum(slow=-apart, fast=apart), 8.0 + gate - 0.01).use is Use.USED
    assert dip(drum(slow=-apart, fast=apart), 8.0 + gate + 0.01).use is Use.REFUSED


def test_a_second_dip_that_agrees_is_believed_and_the_model_was_wrong():
    states = drum(STACK)
    dip(states, 13.5)
    taken = dip(states, 13.2, hours=NOW + 0.5)

    assert taken.use is Use.CONFIRMED
    assert taken.after_c == pytest.approx(13.2, abs=0.15)
    # the whole of it was off by as much as far as anybody knows
    assert likely(states) == pytest.approx(STACK + 5.2, abs=0.3)
    assert states["doubt_k"][0] < UNSUPPORTED_K
    assert not disputed(states, step=step(NOW + 0.5)).any()
    assert stable(states)


def test_after_a_refusal_one_that_agrees_with_what_was_computed_settles_it():
    states = drum()
    dip(states, 14.0)

    assert dip(states, 8.2, hours=NOW + 0.5).use is Use.USED
    assert not disputed(states, step=step(NOW + 0.5)).any()
    assert likely(states)[LAYERS // 2] == pytest.approx(8.2, abs=0.2)


def test_two_that_agree_with_nothing_are_both_refused():
    states = drum()

    assert [dip(states, c).use for c in (14.0, 2.0)] == [Use.REFUSED] * 2
    assert (states["layers"] == drum()["layers"]).all()


def test_a_second_one_too_late_is_as_good_as_a_first():
    states = drum()
    dip(states, 14.0)

    assert dip(states, 14.0, hours=NOW + 2.5).use is Use.REFUSED
    assert dip(states, 14.0, hours=NOW + 3.0).use is Use.CONFIRMED


def test_a_refusal_keeps_the_liquid_from_being_called_known_for_half_a_day():
    states = drum()
    dip(states, 14.0)

    assert disputed(states, step=step(NOW) + DISPUTED_STEPS).all()
    assert not disputed(states, step=step(NOW) + DISPUTED_STEPS + 1).any()


# Straps


def strap(c, *, source=7, on_wall=False) -> Reading:
    return Reading(c=c, sigma_k=0.5, source=source, fixed=True, on_wall=on_wall)


def test_a_strap_is_never_surer_than_its_own_error_however_often_it_reads():
    states = drum(slow=-3.0, fast=3.0)
    for hour in range(24):
        take(strap(9.5), states=states, beside=beside(NOW + hour))
    half = float(band(states, NOW + 23.0).mean_high[0] - likely(states).mean())

    assert likely(states)[MIDDLE].mean() == pytest.approx(9.5, abs=0.1)
    assert half >= 0.9 * TWO_SIDED_90 * 0.5


def test_a_strap_cannot_bear_itself_out_but_a_hand_or_another_strap_can():
    for confirming in (strap(14.0, source=8), Reading(c=14.0, sigma_k=0.5)):
        states = drum()
        uses = [
            take(reading, states=states, beside=beside(NOW + i / 4.0)).use
            for i, reading in enumerate([strap(14.0), strap(14.0), confirming])
        ]
        assert uses == [Use.REFUSED, Use.REFUSED, Use.CONFIRMED]


def test_a_strap_that_errs_does_not_wipe_out_what_a_hand_found():
    states = drum()
    dip(states, 14.0)
    take(strap(-3.0), states=states, beside=beside(NOW + 0.5))

    assert states["refused_source"][0] == BY_HAND
    assert dip(states, 14.0, hours=NOW + 1.0).use is Use.CONFIRMED


def test_a_strap_in_the_liquid_counts_as_measured_and_one_on_the_skin_does_not():
    inside, outside = (drum(slow=-4.0, fast=4.0) for _ in range(2))
    take(strap(8.0), states=inside, beside=beside())
    take(strap(8.0, on_wall=True), states=outside, beside=beside())

    assert inside["dip_step"][0] == step(NOW)
    assert outside["dip_step"][0] == NEVER
    assert width(outside) < width(drum(slow=-4.0, fast=4.0))


def test_slow_and_fast_are_drawn_together_around_the_new_likely():
    states = drum(slow=-1.0, fast=2.0)
    taken = dip(states, 9.0)
    layers = states["layers"][0, :, MIDDLE].mean(axis=-1)

    below, above = layers[LIKELY] - layers[SLOW], layers[FAST] - layers[LIKELY]
    assert above == pytest.approx(2.0 * below)
    assert below < 1.0
    assert layers[LIKELY] == pytest.approx(taken.after_c)
