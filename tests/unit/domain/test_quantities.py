"""Units at the edge, against exact definitions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.quantities import (
    celsius_from_fahrenheit,
    fahrenheit,
    kelvin,
    kilograms_from_pounds,
    kilopascals_from_psi,
    metres_from_inches,
    pounds,
)


@pytest.mark.parametrize(
    ("f", "c"),
    [
        (32.0, 0.0),
        (50.0, 10.0),
        (60.0, 15.556),
        (65.0, 18.333),
        (70.0, 21.111),
        (75.0, 23.889),
        (80.0, 26.667),
        (85.0, 29.444),
        (90.0, 32.222),
        (120.0, 48.889),
        (-40.0, -40.0),
    ],
)
def test_fahrenheit_is_nine_fifths_and_32(f, c):
    # by hand, rounded to three decimals
    assert celsius_from_fahrenheit(f) == pytest.approx(c, abs=5e-4)
    assert fahrenheit(celsius_from_fahrenheit(f)) == pytest.approx(f, abs=1e-12)


def test_a_pound_is_0_45359237_kg_exactly():
    # international yard and pound agreement, 1959
    assert kilograms_from_pounds(1.0) == 0.45359237
    assert kilograms_from_pounds(551.0) == pytest.approx(249.93, abs=0.01)


@given(kg=st.floats(0.0, 1000.0))
def test_pounds_and_back_is_the_same_mass(kg):
    assert kilograms_from_pounds(pounds(kg)) == pytest.approx(kg, rel=1e-12)


def test_ice_melts_at_273_15_k():
    assert kelvin(0.0) == 273.15


def test_inches_and_psi_are_those_of_nist_sp_811():
    # NIST Special Publication 811 (2008), appendix B.8: inch to metre 2.54 E-02 (exact),
    # pound-force per square inch to kilopascal 6.894 757 E+00.
    assert metres_from_inches(1.0) == 0.0254
    assert kilopascals_from_psi(1.0) == pytest.approx(6.894757, abs=5e-7)
