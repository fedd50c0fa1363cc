"""The low-high band: hull of the sets, sensors' error, and a model error that fades at rest."""

import numpy as np
import pytest

from drumkeep.thermal.band import (
    BOTTOM_HIGH_K,
    BOTTOM_LOW_K,
    DRIVE_SHARE,
    MEAN_K,
    REST_K,
    TOP_K,
    band_of,
)
from drumkeep.thermal.model_error import CASES

STACK = np.arange(8.0)  # bottom 0, top 7, mean 3.5


def sets(slow=0.0, likely=0.0, fast=0.0):
    """Three sets of one drum, each the same stack moved by so much, shape (3, 1, 8)."""
    return np.stack([STACK + slow, STACK + likely, STACK + fast])[:, None, :]


def band(layers, *, drive_k=0.0, **other):
    return band_of(layers, drive_k=np.array([drive_k]), **other)


def test_the_likely_set_gives_bottom_mean_and_top():
    found = band(sets(slow=-1.0, likely=0.5, fast=2.0))

    assert (found.bottom[0], found.mean[0], found.top[0]) == (0.5, 4.0, 7.5)


def test_the_limits_are_a_quarter_over_the_worst_of_the_fitted_runs():
    for limit, name in (
        (BOTTOM_LOW_K, "bottom_warm_k"),
        (BOTTOM_HIGH_K, "bottom_cold_k"),
        (MEAN_K, "mean_k"),
        (TOP_K, "top_k"),
    ):
        assert limit == pytest.approx(
            1.25 * max(getattr(case, name) for case in CASES if case.kind != "check")
        )


def test_at_rest_the_model_error_is_the_same_everywhere():
    found = band(sets())

    assert found.bottom_low[0] == pytest.approx(-REST_K)
    assert found.bottom_high[0] == pytest.approx(REST_K)
    assert found.mean_high[0] - found.mean_low[0] == pytest.approx(2.0 * REST_K)
    assert found.top_high[0] == pytest.approx(7.0 + REST_K)


@pytest.mark.parametrize("drive_k", [1.0, 5.0, 30.0])
def test_the_model_error_grows_with_the_drive_up_to_its_limits(drive_k):
    found = band(sets(), drive_k=drive_k)
    cap = REST_K + DRIVE_SHARE * drive_k

    assert found.bottom_low[0] == pytest.approx(-min(BOTTOM_LOW_K, cap))
    assert found.bottom_high[0] == pytest.approx(min(BOTTOM_HIGH_K, cap))
    assert found.mean_high[0] == pytest.approx(3.5 + min(MEAN_K, cap))
    assert found.mean_low[0] == pytest.approx(3.5 - min(MEAN_K, cap))
    assert found.top_low[0] == pytest.approx(7.0 - min(TOP_K, cap))
    assert found.top_high[0] == pytest.approx(7.0 + min(TOP_K, cap))


def test_the_band_is_the_hull_of_the_sets_whichever_is_colder():
    # fast is the colder one while the drum cools
    cooling, warming = band(sets(slow=1.0, fast=-2.0)), band(sets(slow=-2.0, fast=1.0))

    assert cooling.bottom_low[0] == warming.bottom_low[0] == pytest.approx(-2.0 - REST_K)
    assert cooling.top_high[0] == warming.top_high[0] == pytest.approx(8.0 + REST_K)


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

    cap = REST_K + DRIVE_SHARE * 30.0
    assert dipped.bottom_low[0] == pytest.approx(-1.0 - 0.2 * min(BOTTOM_LOW_K, cap))
    assert dipped.top_high[0] == pytest.approx(8.0 + 0.2 * min(TOP_K, cap))
