"""Films on a drum and inside it against published correlations.

Correlations: Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; Churchill and Bernstein,
J. Heat Transfer 99 (1977) 300; Evans and Stefany (1966) as quoted in Holman, Heat Transfer, ch. 7.
They are held against the package ``ht`` 1.2, which implements the first two independently. The
tables' air properties are CoolProp 8.0.0's; ours are Sutherland's laws, hence the per cent.
"""

import ht
import numpy as np
import pytest

from drumkeep.thermal.boundary import exposure_of, side_film
from drumkeep.thermal.convection import (
    air_at,
    cross_flow_film,
    nusselt_closed_cylinder,
    nusselt_cross_flow,
    nusselt_vertical_plate,
    rayleigh,
    still_air_film,
)
from drumkeep.thermal.lumped import time_constant
from drumkeep.thermal.radiation import radiation_film

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


def test_the_side_of_a_drum_in_still_air_is_near_the_combined_film_of_building_codes():
    # ISO 6946: surface resistance 0.13 m²K/W for horizontal heat flow indoors, 7.7 W/m²K; ASHRAE
    # gives 8.29 for a vertical surface that does not reflect.
    assert 7.7 <= side_film("still") <= 9.2


def test_a_drum_loses_more_where_the_air_moves_more():
    films = [side_film(motion) for motion in ("still", "fan", "moving")]

    assert films == sorted(films)
    assert films[0] < films[-1] / 2.0


def test_the_top_of_a_drum_is_insulated_by_its_headspace():
    # our reckoning: 2.8 W/m²K under a side film of 8
    exposure = exposure_of(motion="still", standing="pallet")

    assert exposure.top_w_m2k == pytest.approx(2.8, abs=0.15)
    assert exposure.bottom_w_m2k == 3.0


def test_a_drum_in_a_block_shows_the_air_a_share_of_its_side_only():
    alone = exposure_of(motion="still", standing="pallet")
    crowded = exposure_of(motion="still", standing="pallet", share=0.6)

    assert crowded.side_w_m2k == pytest.approx(0.6 * alone.side_w_m2k)
    assert crowded.top_w_m2k == alone.top_w_m2k
