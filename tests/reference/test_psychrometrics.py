"""Dew points and saturation pressures against psychrolib 2.5.0 and the ASHRAE Handbook.

psychrolib implements ASHRAE Handbook, Fundamentals (2017), chapter 1, independently of us.
"""

import math

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.condensation import DEW_MARGIN_K, wet_air
from drumkeep.thermal.psychrometrics import dew_point, saturation_pressure_kpa

psychrolib.SetUnitSystem(psychrolib.SI)

# °C, %, dew point °C: psychrolib 2.5.0
DEW_POINTS = (
    (20.0, 50.0, 9.272),
    (20.0, 60.0, 12.008),
    (21.0, 65.0, 14.176),
    (25.0, 50.0, 13.864),
    (25.0, 60.0, 16.701),
    (30.0, 60.0, 21.388),
    (35.0, 60.0, 26.068),
    (24.0, 50.0, 12.946),
    (40.0, 20.0, 12.783),
    (5.0, 90.0, 3.499),
)

# °C, Pa: psychrolib 2.5.0
SATURATION_PA = (
    (-60.0, 1.0817),
    (-20.0, 103.260),
    (-10.0, 259.903),
    (-5.0, 401.764),
    (5.0, 872.487),
    (10.0, 1227.995),
    (20.0, 2338.80),
    (25.0, 3169.22),
    (30.0, 4246.03),
    (40.0, 7383.46),
    (50.0, 12349.86),
)


@pytest.mark.parametrize(("c", "percent", "dew_c"), DEW_POINTS)
def test_dew_points_are_those_of_the_table_within_a_hundredth(c, percent, dew_c):
    assert dew_point(temperature_c=c, relative_humidity=percent) == pytest.approx(dew_c, abs=0.01)


@given(
    c=st.floats(min_value=-30.0, max_value=55.0), percent=st.floats(min_value=2.0, max_value=100.0)
)
def test_dew_points_are_psychrolibs_within_a_hundredth(c, percent):
    theirs = psychrolib.GetTDewPointFromRelHum(c, percent / 100.0)

    assert dew_point(temperature_c=c, relative_humidity=percent) == pytest.approx(theirs, abs=0.01)


@pytest.mark.parametrize(("c", "percent", "dew_c"), DEW_POINTS)
def test_the_magnus_form_says_nearly_the_same(c, percent, dew_c):
    # WMO Guide No. 8: 17.62 and 243.12 °C; within 0.02 K on 5…40 °C
    gamma = math.log(percent / 100.0) + 17.62 * c / (243.12 + c)
    magnus = 243.12 * gamma / (17.62 - gamma)

    assert magnus == pytest.approx(dew_c, abs=0.02)
    assert dew_point(temperature_c=c, relative_humidity=percent) == pytest.approx(magnus, abs=0.02)


@pytest.mark.parametrize("c", [-20.0, 0.0, 5.0, 20.0, 35.0, 55.0])
def test_saturated_air_is_at_its_dew_point(c):
    assert dew_point(temperature_c=c, relative_humidity=100.0) == pytest.approx(c, abs=0.01)


@pytest.mark.parametrize(("c", "pa"), SATURATION_PA)
def test_water_boils_off_at_the_pressures_of_the_table(c, pa):
    assert saturation_pressure_kpa(c) * 1000.0 == pytest.approx(pa, rel=1e-4)


@pytest.mark.parametrize(
    ("c", "kpa"),
    # ASHRAE Handbook, Fundamentals, table of moist air (from memory); 20 °C also CoolProp 8.0.0
    [(0.0, 0.6112), (20.0, 2.339), (25.0, 3.1693)],
)
def test_water_has_the_handbooks_vapour_pressure(c, kpa):
    assert saturation_pressure_kpa(c) == pytest.approx(kpa, rel=1e-3)


@pytest.mark.parametrize(("wall_c", "sweats"), [(12.0, True), (16.0, False)])
def test_a_wall_at_12_c_sweats_in_air_of_25_c_at_half_humidity_and_one_at_16_does_not(
    wall_c, sweats
):
    # The air's dew point is 13.86 °C; with a margin of 2 K.
    air = wet_air(air_c=25.0, humidity=50.0)

    assert air.dew_c == pytest.approx(13.864, abs=0.01)
    assert (air.margin_k(wall_c) < DEW_MARGIN_K) is sweats


def test_air_drier_than_any_sensor_tells_has_a_dew_point_all_the_same():
    assert dew_point(temperature_c=20.0, relative_humidity=0.0) == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(20.0, 0.001), abs=0.01
    )
