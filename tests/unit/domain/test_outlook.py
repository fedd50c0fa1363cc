"""What lies ahead: the air to come, and when a limit is met in it."""

import numpy as np
import pytest

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead, AirBasis
from drumkeep.domain.outlook import (
    READY_HOURS,
    Prospect,
    first_below,
    first_perhaps_within,
    first_within,
    mixed_within,
    steps_below,
)
from drumkeep.thermal.band import Band
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from tests.builders.past import ISO, place, received, state_after, step


def prospect(air_c, *, liquid_c=20.0, off_k=3.0):
    return Prospect(
        states=state_after([received(liquid_c=liquid_c)], hours=0.0, places=20.0),
        products=[ISO],
        heats=[place(20.0, hours=0.0)],
        ahead=[
            AirAhead(
                likely=np.full(READY_HOURS * PER_HOUR + 1, air_c),
                low=np.full(READY_HOURS * PER_HOUR + 1, air_c - off_k),
                high=np.full(READY_HOURS * PER_HOUR + 1, air_c + off_k),
                error_k=0.5,
                basis=AirBasis.USUAL_DAY,
            )
        ],
        share=np.ones(1),
        step=step(0.0),
    )


def test_the_slow_set_meets_the_coldest_air_and_the_fast_one_the_hottest():
    likely = prospect(20.0).course(hours=24, pessimist=False).layers_c
    course = prospect(20.0).course(hours=24, pessimist=True).layers_c

    assert course[-1, SLOW].mean() < likely[-1, SLOW].mean() - 1.0
    assert course[-1, FAST].mean() > likely[-1, FAST].mean() + 1.0
    assert (course[:, LIKELY] == likely[:, LIKELY]).all()


def test_the_present_is_the_same_for_optimist_and_pessimist():
    course = prospect(-7.0).course(hours=2, pessimist=True)

    assert (course.layers_c[0, LIKELY] == 20.0).all()


def test_air_that_is_not_known_drives_the_likely_liquid_nowhere():
    course = prospect(float("nan")).course(hours=12, pessimist=False)

    assert course.layers_c[-1, LIKELY].mean() == pytest.approx(20.0, abs=0.05)


def test_a_sensors_error_widens_the_outlook():
    course = prospect(20.0).course(hours=1, pessimist=False)

    assert course.band.mean_high[0, 0] - course.band.mean_low[0, 0] >= 1.0 + 0.6


def test_an_outlook_agrees_with_what_then_is_computed():
    looked = prospect(-7.0, off_k=0.0).course(hours=12, pessimist=False)
    became = state_after([received(liquid_c=20.0)], hours=12.0, places=-7.0)

    # steps of a quarter of an hour instead of five minutes
    assert STRIDE == 3
    assert looked.layers_c[-1, LIKELY, 0] == pytest.approx(became["layers"][0, LIKELY], abs=0.2)


def band(low, high, *, mean_low=None, mean_high=None):
    """A band over time of one drum."""

    def column(values):
        return np.array(values, dtype=np.float64)[:, None]

    low, high = column(low), column(high)
    means = [low if mean_low is None else column(mean_low)]
    means.append(high if mean_high is None else column(mean_high))
    return Band(
        bottom=low,
        bottom_low=low,
        bottom_high=low,
        mean=low,
        mean_low=means[0],
        mean_high=means[1],
        top=high,
        top_low=high,
        top_high=high,
    )


TEN, TWENTY = np.array([10.0]), np.array([20.0])


@pytest.mark.parametrize(
    ("low", "high", "index"),
    [
        ([5, 9, 10, 12], [8, 12, 15, 16], 2),
        ([12, 12, 12, 12], [25, 22, 20, 19], 2),
        ([12, 12], [15, 15], 0),
        ([5, 9], [8, 12], -1),
        ([12, 12], [25, 22], -1),
        # cold, then warm all at once: never all within
        ([5, 9, 15], [12, 19, 24], -1),
    ],
)
def test_a_drum_is_ready_once_its_whole_band_lies_within(low, high, index):
    assert first_within(band(low, high), low_c=TEN, high_c=TWENTY).tolist() == [index]


def test_mixed_it_is_ready_once_its_mean_lies_within():
    found = band([1, 2, 3], [30, 30, 30], mean_low=[8, 10, 12], mean_high=[12, 14, 16])

    assert mixed_within(found, low_c=TEN, high_c=TWENTY).tolist() == [1]


def test_a_limit_is_passed_only_by_being_below_it():
    found = band([12, 10, 9.9, 12, 8], [12] * 5)

    assert first_below(found, limit_c=TEN).tolist() == [2]
    assert steps_below(found, limit_c=TEN).tolist() == [2]
    assert first_below(found, limit_c=np.array([5.0])).tolist() == [-1]
