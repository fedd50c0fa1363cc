"""Sun on a drum: sol-air temperatures, clear days and the geometry of an upright cylinder.

ASHRAE Handbook of Fundamentals: the sol-air equation; its long-wave term 20 Btu/(h ft²), 7 °F or
3.9 K for a roof at h_o 3.0 Btu/(h ft² °F), 0 for a wall. Clear days: Haurwitz's global irradiance
as printed by Reno, Hansen and Stein (SAND2012-2389) and coded in the package pvlib 0.16.1.
"""

import numpy as np
import pytest
from scipy import integrate

from drumkeep.thermal.solar import (
    ABSORPTANCE,
    DIFFUSE_SHARE,
    GROUND_REFLECTANCE,
    SKY_W_M2,
    clear_day,
    on_drum,
    sol_air,
)


def test_a_dark_wall_in_the_sun_has_ashraes_sol_air_temperature():
    # by hand, a/h_o 0.052 (dark) and 0.026 (light): 30 + 0.052·800 = 71.6; 30 + 0.026·800 = 50.8
    dark, light = (
        sol_air(30.0, irradiance_w_m2=800.0, absorptance=a, film_w_m2k=17.0)
        for a in (0.052 * 17.0, 0.026 * 17.0)
    )

    assert (dark, light) == pytest.approx((71.6, 50.8))


def test_a_roof_under_a_clear_sky_faces_3_9_k_less_than_the_air():
    # ε ΔR/h_o of ASHRAE: 63/17 = 3.7, printed as 3.9 K or 4 K for 7 °F
    facing = sol_air(
        0.0,
        irradiance_w_m2=0.0,
        absorptance=0.9,
        film_w_m2k=17.0,
        emissivity=1.0,
        sky_w_m2=SKY_W_M2,
    )

    assert facing == pytest.approx(-3.9, abs=0.25)
    assert pytest.approx(20.0 * 3.15459, abs=0.1) == SKY_W_M2


@pytest.mark.parametrize("zenith_deg", [0.0, 30.0, 60.0, 80.0])
def test_clear_day_irradiance_is_haurwitzs(zenith_deg):
    # 1098 cos z exp(−0.059/cos z); the hour at which the sun stands there, by bisection
    hours = np.linspace(0.0, 12.0, 120_001)
    level, elevation = clear_day(day_of_year=172.0, hour=hours)
    near = np.abs(elevation - (90.0 - zenith_deg)).argmin()
    cosine = np.sin(np.radians(elevation[near]))

    assert level[near] == pytest.approx(1098.0 * cosine * np.exp(-0.059 / cosine), rel=1e-9)


@pytest.mark.parametrize(
    ("day", "noon_deg"), [(80.0, 50.0), (172.0, 73.45), (266.0, 50.0), (355.0, 26.55)]
)
def test_the_noon_sun_at_40_degrees_stands_where_the_seasons_put_it(day, noon_deg):
    # 50° + declination: 0 at the equinoxes, ±23.45° at the solstices
    _, elevation = clear_day(day_of_year=day, hour=12.0)

    assert elevation == pytest.approx(noon_deg, abs=1.1)


def test_the_day_at_the_equinox_lasts_from_six_to_six():
    hours = np.arange(0.0, 24.0, 0.1)
    level, _ = clear_day(day_of_year=81.0, hour=hours)
    light = hours[level > 0.0]

    assert (light[0], light[-1]) == pytest.approx((6.0, 18.0), abs=0.2)
    assert level[np.abs(hours - 12.0).argmin()] == level.max()


@pytest.mark.parametrize("elevation_deg", [10.0, 30.0, 45.0, 70.0])
def test_the_beam_on_a_drums_side_is_its_shadow_over_its_round(elevation_deg):
    # Integral of the cosine of incidence over the lit half, over the whole round: cos(el)/π.
    elevation = np.radians(elevation_deg)
    lit, _ = integrate.quad(
        lambda angle: np.cos(elevation) * np.cos(angle), -np.pi / 2.0, np.pi / 2.0
    )
    direct = 700.0
    level = direct * np.sin(elevation) / (1.0 - DIFFUSE_SHARE)
    falls = on_drum(level, elevation_deg=elevation_deg)
    around = 0.5 * (DIFFUSE_SHARE + GROUND_REFLECTANCE) * level

    assert falls.side_w_m2 - around == pytest.approx(direct * lit / (2.0 * np.pi))
    assert falls.top_w_m2 == pytest.approx(level)


def test_night_and_a_setting_sun_give_finite_light():
    level, elevation = clear_day(day_of_year=100.0, hour=np.linspace(0.0, 24.0, 289))
    falls = on_drum(level, elevation_deg=elevation)

    assert (np.asarray(falls.side_w_m2) >= 0.0).all()
    assert np.asarray(falls.side_w_m2).max() < 600.0
    assert (level[elevation <= 0.0] == 0.0).all()


def test_darker_paint_takes_up_more():
    # from memory of handbook tables: black 0.95, dark blue 0.90, red 0.65-0.75, white 0.20-0.30
    assert 0.65 <= ABSORPTANCE["red"] <= 0.75
    assert 0.20 <= ABSORPTANCE["white"] <= 0.30
    assert list(ABSORPTANCE.values()) == sorted(ABSORPTANCE.values(), reverse=True)
