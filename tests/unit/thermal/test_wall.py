"""What the wall says of the liquid behind it."""

import numpy as np
import pytest

from drumkeep.thermal.wall import inside_film, liquid_share
from tests.builders.liquid import liquid


@pytest.mark.parametrize(("at_c", "expected"), [(5.0, 14.1), (15.0, 17.1), (25.0, 20.4)])
def test_the_inside_film_is_that_of_evans_and_stefany(at_c, expected):
    # Nu = 0.55 Ra^¼, Evans and Stefany (1966) in Holman, Heat Transfer, ch. 7: worked out by hand
    # for this iso, 0.80 m deep, the wall 5 K warmer than the liquid and its viscosity halfway. With
    # a film outside so strong the wall is at what it faces.
    drum = liquid(mass_kg=252.5, side_w_m2k=1e6)
    found = inside_film(drum, side_c=np.array([at_c + 5.0]), mean_c=np.array([at_c]))

    assert found[0] == pytest.approx(expected, rel=0.01)


def test_between_equal_films_the_wall_is_halfway():
    even = liquid(side_w_m2k=12.0)
    at = {"side_c": np.array([15.0]), "mean_c": np.array([5.0])}
    inside = float(inside_film(even, **at)[0])

    assert liquid_share(liquid(side_w_m2k=inside), **at)[0] == pytest.approx(0.5, abs=0.03)
    assert liquid_share(liquid(side_w_m2k=100.0), **at)[0] < 0.25
    assert liquid_share(liquid(side_w_m2k=1.0), **at)[0] > 0.85
