"""The methods page's examples are what the physics gives."""

import numpy as np
import pytest

from drumkeep.domain import worked
from drumkeep.domain.forecasts import AirPoint, ForecastRequest, forecast
from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.boundary import Setting, side_film
from drumkeep.thermal.stratified import EIGHTHS


def test_cooling_drum_is_that_of_a_forecast():
    asked = ForecastRequest(
        side=Side.ISO,
        start_c=(21.0,) * EIGHTHS,
        air=(AirPoint(0.0, -7.0),),
        hours=24.0,
        step_h=0.25,
        setting=Setting(motion="still"),
    )
    assert worked.cooling().layers_c == forecast(asked).layers_c


@pytest.mark.parametrize("course", [worked.cooling(), worked.warming()], ids=["cooling", "warming"])
def test_layers_do_not_fall_from_bottom_to_top_by_more_than_liquid_holds(course):
    assert (np.diff(course.layers_c, axis=1) >= -0.05).all()
    assert course.h[-1] == worked.HOURS


def test_films_are_those_of_the_boundary():
    films = worked.side_films(np.array([20.0]), motions=("still", "windy"))
    for motion, film in films.items():
        expected = side_film(Setting(motion=motion), surface_c=5.0, air_c=25.0)
        assert film[0] == pytest.approx(expected)
    # ASHRAE's outdoor winter film at 15 mph, 34.0 W/(m² K) for a rough wall, bounds a smooth one
    assert 8.0 < films["still"][0] < films["windy"][0] < 34.0


def test_viscosity_holds_its_point_at_25_c():
    found = worked.viscosities(np.array([25.0]), products={"iso": default_product(Side.ISO)})
    assert found["iso"][0] == pytest.approx(0.2, rel=1e-9)


def test_dip_narrows_the_band_at_once_and_less_and_less_after():
    seen = worked.dip()
    at = int(np.flatnonzero(seen.h == worked.DIP_AFTER_H)[0])
    before = (seen.high_c - seen.low_c)[at:]
    after = seen.after_high_c - seen.after_low_c
    assert seen.measured_c == pytest.approx(seen.computed_c + worked.DIP_OFF_K)
    assert (after <= before + 1e-9).all()
    assert after[0] < 0.95 * before[0]
    gain = 1.0 - after / before
    assert gain[0] == gain.max()
    assert gain[-1] < gain[0]
