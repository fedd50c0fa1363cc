"""Films on a drum and inside it against published correlations.

Correlations: Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; Churchill and Bernstein,
J. Heat Transfer 99 (1977) 300; McAdams, Heat Transmission, 3rd ed.; the flat plate of Incropera et
al., ch. 7; Evans and Stefany (1966) as quoted in Holman, Heat Transfer, ch. 7. They are held
against the package ``ht`` 1.2, which implements all but the last independently. The
tables' air properties are CoolProp 8.0.0's; ours are Sutherland's laws, hence the per cent.
"""

import ht
import numpy as np
import pytest

from drumkeep.thermal.convection import (
    air_at,
    cross_flow_film,
    flat_plate_film,
    nusselt_closed_cylinder,
    nusselt_cross_flow,
    nusselt_flat_plate,
    nusselt_lid,
    nusselt_vertical_plate,
    rayleigh,
    still_air_film,
)
from drumkeep.thermal.radiation import radiation_film
from tests.builders.one_node import time_constant

DRUM_HEIGHT_M = 0.85
DRUM_DIAMETER_M = 0.5715

# Drum side, 0.85 m, emissivity 0.9, computed with CoolProp's air:
# surface and air °C; Ra; Nu; convective and radiative film, W/m²K.
STILL_AIR = (
    (0.0, 25.0, 1.795e9, 147.2, 4.38, 4.76),
    (5.0, 25.0, 1.379e9, 135.7, 4.07, 4.88),
    (15.0, 25.0, 6.37e8, 106.9, 3.25, 5.14),
    (20.0, 25.0, 3.06e8, 85.5, 2.62, 5.28),
    (-10.0, 20.0, 2.44e9, 162.0, 4.71, 4.39),
)


@pytest.mark.parametrize("row", STILL_AIR, ids=lambda row: f"{row[0]:g} in {row[1]:g} °C")
def test_a_cold_wall_in_still_air_has_the_published_numbers(row):
    surface_c, air_c, ra, nu, convective, radiative = row
    mean_c = 0.5 * (surface_c + air_c)
    air = air_at(mean_c)
    ours = rayleigh(
        expansion_1_k=1.0 / (mean_c + 273.15),
        difference_k=air_c - surface_c,
        length_m=DRUM_HEIGHT_M,
        kinematic_viscosity_m2_s=air.kinematic_viscosity_m2_s,
        diffusivity_m2_s=air.kinematic_viscosity_m2_s / air.prandtl,
    )

    assert ours == pytest.approx(ra, rel=0.02)
    assert nusselt_vertical_plate(rayleigh_number=ours, prandtl=air.prandtl) == pytest.approx(
        nu, rel=0.01
    )
    assert still_air_film(
        surface_c=surface_c, air_c=air_c, height_m=DRUM_HEIGHT_M
    ) == pytest.approx(convective, rel=0.015)
    assert radiation_film(mean_c=mean_c) == pytest.approx(radiative, rel=0.005)


@pytest.mark.parametrize("ra", np.geomspace(1e3, 1e12, 10))
@pytest.mark.parametrize("prandtl", [0.7, 0.71, 7.0])
def test_the_vertical_plate_is_that_of_the_package_ht(ra, prandtl):
    assert nusselt_vertical_plate(rayleigh_number=ra, prandtl=prandtl) == pytest.approx(
        ht.Nu_vertical_plate_Churchill(prandtl, ra / prandtl), rel=1e-9
    )


@pytest.mark.parametrize("reynolds", np.geomspace(1e3, 1e6, 10))
def test_cross_flow_is_that_of_the_package_ht(reynolds):
    assert nusselt_cross_flow(reynolds_number=reynolds, prandtl=0.71) == pytest.approx(
        ht.Nu_cylinder_Churchill_Bernstein(reynolds, 0.71), rel=1e-9
    )


@pytest.mark.parametrize("ra", [2e4, 1e6, 0.99e7, 1.01e7, 1e9])
def test_a_lid_is_that_of_the_package_ht(ra):
    for warms_air in (True, False):
        assert float(nusselt_lid(rayleigh_number=ra, warms_air=warms_air)) == pytest.approx(
            ht.Nu_horizontal_plate_McAdams(0.71, ra / 0.71, buoyancy=warms_air), rel=1e-9
        )


@pytest.mark.parametrize("reynolds", [1e4, 4.9e5])
def test_a_lid_in_laminar_wind_is_that_of_the_package_ht(reynolds):
    # Pr^(1/3) of Blasius and Pohlhausen, which Baehr's form leaves at Pr 0.71 within 2 %
    ours = float(nusselt_flat_plate(reynolds_number=reynolds, prandtl=0.71))

    assert ours == pytest.approx(ht.Nu_horizontal_plate_laminar_Baehr(reynolds, 0.71), rel=0.02)


def test_a_plate_in_a_wind_is_that_of_incropera_example_7_1():
    # Incropera et al., example 7.1 (6th ed.): air of 300 °C at 6 kPa flows at 10 m/s along a plate
    # 0.5 m long at 27 °C; at the film temperature Re 9597, Pr 0.687, Nu 57.4, k 0.0364: 4.18 W/m²K.
    nusselt = float(nusselt_flat_plate(reynolds_number=9597.0, prandtl=0.687))

    assert nusselt == pytest.approx(57.4, abs=0.05)
    assert nusselt * 0.0364 / 0.5 == pytest.approx(4.18, abs=0.01)


def test_a_cylinder_in_a_wind_is_that_of_incropera_example_7_4():
    # Incropera et al., example 7.4: air of 26.2 °C at 10 m/s over a rod of 12.7 mm at 128.4 °C;
    # at 350 K: Re 6071, Pr 0.70, Churchill and Bernstein give Nu 40.6, k 0.030: 96 W/m²K.
    nusselt = float(nusselt_cross_flow(reynolds_number=6071.0, prandtl=0.70))

    assert nusselt == pytest.approx(40.6, abs=0.1)
    assert nusselt * 0.030 / 0.0127 == pytest.approx(96.0, abs=0.2)


def test_a_wall_in_still_air_is_that_of_incropera_example_9_2():
    # Incropera et al., example 9.2: a glass fire screen 0.71 m high at 232 °C in a room at 23 °C;
    # at 400 K: Ra 1.813e9, Pr 0.690, Nu 147, k 33.8e-3: 7.0 W/m²K.
    nusselt = float(nusselt_vertical_plate(rayleigh_number=1.813e9, prandtl=0.690))

    assert nusselt == pytest.approx(147.0, abs=0.5)
    assert nusselt * 33.8e-3 / 0.71 == pytest.approx(7.0, abs=0.05)


def test_wind_over_the_lid_thins_out_with_the_root_of_its_speed():
    # laminar: Re^½, up to 5e5
    slow, fast = (
        float(flat_plate_film(speed_m_s=v, air_c=0.0, length_m=DRUM_DIAMETER_M)) for v in (1.0, 4.0)
    )

    assert fast == pytest.approx(2.0 * slow)


@pytest.mark.parametrize(
    ("speed_m_s", "film"),
    [(0.5, 3.5), (1.0, 5.3), (2.0, 8.3), (3.35, 11.8), (5.0, 15.7), (6.7, 19.5)],
)
def test_a_drum_in_moving_air_near_0_c_has_the_published_films(speed_m_s, film):
    ours = cross_flow_film(speed_m_s=speed_m_s, air_c=0.0, diameter_m=DRUM_DIAMETER_M)

    # one decimal is printed, and the air's properties are another set
    assert ours == pytest.approx(film, rel=0.01, abs=0.05)


@pytest.mark.parametrize(
    ("mean_c", "film"), [(20.0, 5.143), (0.0, 4.160), (25.0, 5.410), (40.0, 6.269)]
)
def test_radiation_is_the_linearised_law_of_stefan_and_boltzmann(mean_c, film):
    # 4 eps sigma T³ with eps 0.9, by hand
    assert radiation_film(mean_c=mean_c) == pytest.approx(film, rel=1e-3)


def test_iso_in_a_closed_cylinder_has_the_film_of_evans_and_stefany():
    # Iso at 25 °C, wall to bulk 5 K, depth 0.80 m: Ra 1.77e9, Nu 112.8, 17.7 W/m²K within 1 %.
    ra = rayleigh(
        expansion_1_k=6.5e-4,
        difference_k=5.0,
        length_m=0.80,
        kinematic_viscosity_m2_s=0.200 / 1230.0,
        diffusivity_m2_s=0.1255 / (1230.0 * 1800.0),
    )
    nusselt = nusselt_closed_cylinder(rayleigh_number=ra)

    assert ra == pytest.approx(1.77e9, rel=0.01)
    assert nusselt == pytest.approx(112.8, rel=0.01)
    assert nusselt * 0.1255 / 0.80 == pytest.approx(17.7, rel=0.01)


def test_a_well_mixed_drum_has_the_published_time_constant():
    # 250 kg of iso and 18.1 kg of steel, side and top 1.783 m², 8.29 W/m²K: 8.61 h within 0.5 %.
    tau = time_constant(
        heat_capacity_j_k=250.0 * 1800.0 + 18.1 * 465.0, conductance_w_k=8.29 * 1.783
    )

    assert tau / 3600.0 == pytest.approx(8.61, rel=0.005)
