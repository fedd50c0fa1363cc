"""Ageing by heat: check values worked from the formulas of USP <1079> and ICH Q1A(R2).

ΔH = 83.144 kJ/mol and R = 8.3144 J/(mol K), so ΔH/R = 10 000 K; the figures are that formula's,
worked out apart from this code.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.thermal.ageing import (
    ACTIVATION_K,
    ageing_rate,
    kinetic_temperature_c,
    mean_kinetic_temperature_c,
)


@pytest.mark.parametrize(
    ("temperatures_c", "mkt_c"),
    [
        ([20.0, 30.0], 26.260),
        ([15.0, 20.0, 25.0, 30.0], 24.104),
        ([5.0, 25.0], 19.698),
        ([25.0, 40.0], 35.074),
        ([-10.0, 0.0, 10.0, 20.0, 30.0, 40.0], 27.016),
    ],
)
def test_mean_kinetic_temperature_of_equal_times(temperatures_c, mkt_c):
    assert mean_kinetic_temperature_c(np.array(temperatures_c)) == pytest.approx(mkt_c, abs=0.001)


def test_each_temperature_counts_for_as_long_as_it_held():
    uneven = mean_kinetic_temperature_c(np.array([25.0, 30.0]), hours=np.array([8.0, 16.0]))
    hourly = mean_kinetic_temperature_c(np.array([25.0] * 8 + [30.0] * 16))

    assert uneven == pytest.approx(28.603, abs=0.001)
    assert uneven == pytest.approx(hourly, abs=1e-9)


@given(st.floats(-40.0, 80.0))
def test_a_steady_temperature_is_its_own_mean_kinetic_temperature(c):
    assert mean_kinetic_temperature_c(np.full(7, c)) == pytest.approx(c, abs=1e-9)


@given(st.lists(st.floats(-40.0, 80.0), min_size=1, max_size=50))
def test_the_mean_kinetic_temperature_is_never_below_the_plain_mean(temperatures_c):
    values = np.array(temperatures_c)

    assert mean_kinetic_temperature_c(values) >= values.mean() - 1e-9


@pytest.mark.parametrize(
    ("temperature_c", "rate"), [(35.0, 2.9696), (40.0, 4.9858), (15.0, 0.3122), (25.0, 1.0)]
)
def test_how_much_faster_than_at_25_c_it_ages(temperature_c, rate):
    assert float(ageing_rate(temperature_c)) == pytest.approx(rate, abs=0.0005)


def test_ten_kelvin_from_20_c_make_it_three_times_as_fast():
    assert float(ageing_rate(30.0, reference_c=20.0)) == pytest.approx(3.081, abs=0.0005)


def test_thirty_days_at_35_c_are_89_days_at_25_c():
    assert 30.0 * float(ageing_rate(35.0, reference_c=25.0)) == pytest.approx(89.1, abs=0.05)


def test_the_rate_leads_back_to_the_temperature():
    temperatures_c = np.linspace(-30.0, 60.0, 19)

    back = kinetic_temperature_c(ageing_rate(temperatures_c))

    assert back == pytest.approx(temperatures_c, abs=1e-9)


def test_the_convention_is_83_144_kj_per_mol():
    assert pytest.approx(83_144.0 / 8.3144, rel=1e-12) == ACTIVATION_K
    # the gas constant of CODATA 2018 moves the result by less than 1e-4 K
    exact = 83_144.0 / 8.314462618
    kelvin = [293.15, 303.15]
    mean = sum(math.exp(-exact / t) for t in kelvin) / 2.0
    assert -exact / math.log(mean) - 273.15 == pytest.approx(26.260, abs=0.001)
