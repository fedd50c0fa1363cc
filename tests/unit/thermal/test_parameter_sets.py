"""Slow, likely and fast sets of the same drum."""

import numpy as np
import pytest

from drumkeep.thermal.parameter_sets import (
    FAST,
    GIVEN_EXPOSURE,
    LIKELY,
    NAMED_SETTING,
    SLOW,
    spread_out,
)
from drumkeep.thermal.stratified import LAYERS, advance
from tests.builders.liquid import liquid


@pytest.mark.parametrize("spread", [NAMED_SETTING, GIVEN_EXPOSURE])
def test_the_middle_set_is_the_drum_as_given(spread):
    drum = liquid(2, mass_kg=np.array([250.0, 90.0]))
    likely = spread_out(drum, spread=spread)

    for name, value in drum.__dict__.items():
        if name != "tables":
            assert (getattr(likely, name)[LIKELY] == value).all()
    assert (likely.tables[likely.number[LIKELY]] == drum.tables[drum.number]).all()


def test_nobody_doubts_the_mass():
    out = spread_out(liquid(), spread=NAMED_SETTING)

    assert np.ptp(out.mass_kg) == np.ptp(out.steel_kg) == 0.0


@pytest.mark.parametrize(("start_c", "air_c"), [(21.0, -7.0), (4.0, 27.0)])
@pytest.mark.parametrize("spread", [NAMED_SETTING, GIVEN_EXPOSURE])
def test_slow_lags_and_fast_leads_in_cold_and_in_warmth(start_c, air_c, spread):
    drum = spread_out(liquid(), spread=spread)
    layers = np.full((3, 1, LAYERS), start_c)
    for _ in range(12 * 12):
        layers = advance(layers, liquid=drum, side_c=np.array(air_c), seconds=300.0)
    way = np.abs(layers.mean(axis=-1)[:, 0] - start_c)

    assert way[SLOW] < way[LIKELY] < way[FAST]


def test_films_given_as_numbers_are_doubted_less_than_named_settings():
    named, given = (spread_out(liquid(), spread=s) for s in (NAMED_SETTING, GIVEN_EXPOSURE))

    assert np.ptp(given.side_w_m2k) < np.ptp(named.side_w_m2k)
