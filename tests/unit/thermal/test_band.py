"""The low-high band: hull of the sets, sensors' error, and a model error that fades at rest."""

import numpy as np
import pytest

from drumkeep.thermal.band import band_of

STACK = np.arange(8.0)  # bottom 0, top 7, mean 3.5


def sets(slow=0.0, likely=0.0, fast=0.0):
    """Three sets of one drum, each the same stack moved by so much, shape (3, 1, 8)."""
    return np.stack([STACK + slow, STACK + likely, STACK + fast])[:, None, :]


def band(layers, *, drive_k=0.0, **other):
    return band_of(layers, drive_k=np.array([drive_k]), **other)


def test_the_likely_set_gives_bottom_mean_and_top():
    found = band(sets(slow=-1.0, likely=0.5, fast=2.0))

    assert (found.bottom[0], found.mean[0], found.top[0]) == (0.5, 4.0, 7.5)


def test_at_rest_the_model_error_is_0_3_k_everywhere():
    found = band(sets())

    assert found.bottom_low[0] == pytest.approx(-0.3)
    assert found.bottom_high[0] == pytest.approx(0.3)
    assert found.mean_high[0] - found.mean_low[0] == pytest.approx(0.6)
    assert found.top_high[0] == pytest.approx(7.3)


@pytest.mark.parametrize(
    ("drive_k", "bottom_low", "bottom_high", "mean", "top"),
    [
        # each error is capped by 0.3 K + 0.2 × the largest |air − mean| of the last six hours
        (1.0, -0.5, 0.5, 0.5, 0.5),
        (5.0, -1.3, 1.0, 0.7, 1.3),
        (30.0, -2.5, 1.0, 0.7, 2.5),
    ],
)
def test_the_model_error_grows_with_the_drive_up_to_its_limits(
    drive_k, bottom_low, bottom_high, mean, top
):
    found = band(sets(), drive_k=drive_k)

    assert found.bottom_low[0] == pytest.approx(bottom_low)
    assert found.bottom_high[0] == pytest.approx(bottom_high)
    assert found.mean_high[0] == pytest.approx(3.5 + mean)
    assert found.mean_low[0] == pytest.approx(3.5 - mean)
    assert found.top_low[0] == pytest.approx(7.0 - top)
    assert found.top_high[0] == pytest.approx(7.0 + top)


def test_the_band_is_the_hull_of_the_sets_whichever_is_colder():
    # fast is the colder one while the drum cools
    cooling, warming = band(sets(slow=1.0, fast=-2.0)), band(sets(slow=-2.0, fast=1.0))

    assert cooling.bottom_low[0] == warming.bottom_low[0] == pytest.approx(-2.3)
    assert cooling.top_high[0] == warming.top_high[0] == pytest.approx(8.3)


def test_low_and_high_enclose_everything():
    found = band(sets(slow=-1.0, fast=1.0), drive_k=30.0)
    inside = [found.bottom_low, found.bottom_high, found.mean_low, found.mean_high, found.top_low]

    assert found.low[0] == found.bottom_low[0]
    assert found.high[0] == found.top_high[0]
    assert all(found.low[0] <= value[0] <= found.high[0] for value in inside)


def test_the_sensors_error_widens_the_band_on_both_sides():
    plain, wide = band(sets(), drive_k=30.0), band(sets(), drive_k=30.0, sensor_error_k=0.5)

    assert wide.bottom_low[0] == pytest.approx(plain.bottom_low[0] - 0.5)
    assert wide.top_high[0] == pytest.approx(plain.top_high[0] + 0.5)


def test_a_dip_holds_the_model_error_down_but_not_the_hull():
    dipped = band(sets(slow=-1.0, fast=1.0), drive_k=30.0, kept=0.2)

    assert dipped.bottom_low[0] == pytest.approx(-1.0 - 0.2 * 2.5)
    assert dipped.top_high[0] == pytest.approx(8.0 + 0.2 * 2.5)
