"""Sun under the three sets: which gets how much, and when."""

import numpy as np
import pytest

from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.sun import (
    FLAGGED,
    GIVEN,
    clear_sky,
    facing_sun,
    given_sun,
    measured_sky,
    no_sun,
)
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from tests.builders.past import FIRST, step

DAY = step(24.0)
LEVELS = np.array([[0.0], [300.0], [600.0]])


def faced(air_c, *, mean_c, levels=LEVELS, **changes):
    sun = {"absorptance": 0.9, "film_w_m2k": 20.0} | changes
    air = np.full((3, 1), air_c)
    return facing_sun(air, irradiance_w_m2=levels, mean_c=np.array([mean_c]), **sun)[:, 0]


def test_a_warming_drum_gets_least_sun_when_slow_and_most_when_fast():
    # by hand: 20 + 0.9 I/20
    assert faced(20.0, mean_c=5.0) == pytest.approx([20.0, 33.5, 47.0])


def test_a_cooling_drum_gets_most_sun_when_slow_and_least_when_fast():
    assert faced(-10.0, mean_c=25.0) == pytest.approx([17.0, 3.5, -10.0])


def test_a_cold_wind_on_a_warm_drum_turns_to_warming_once_the_sun_outweighs_it():
    # sol-air of the likely sun is 3.5 °C
    assert faced(-10.0, mean_c=3.4)[FAST] > faced(-10.0, mean_c=3.6)[FAST]


def test_a_lid_under_the_open_sky_loses_what_ashrae_says():
    # ε ΔR/h_o = 0.9·63/20
    wall, lid = (faced(20.0, mean_c=5.0, faces_sky=sky) for sky in (0.0, 1.0))

    assert wall - lid == pytest.approx(np.full(3, 0.9 * 63.0 / 20.0))


def test_a_flag_stands_for_none_half_and_all_of_a_clear_day():
    sun = clear_sky(FIRST, DAY, ahead_of_utc_s=np.zeros(DAY - FIRST + 1))

    assert (sun.top_w_m2[SLOW] == 0.0).all()
    assert sun.top_w_m2[LIKELY] == pytest.approx(0.5 * sun.top_w_m2[FAST])
    assert FLAGGED == (0.0, 0.5, 1.0)
    # 10 January at 40° north: noon 28° high; Haurwitz by hand: 1098·0.469·exp(−0.059/0.469)
    assert sun.top_w_m2[FAST].max() == pytest.approx(454.0, rel=0.03)


def test_the_sun_goes_by_the_clock_of_the_site():
    count = DAY - FIRST + 1
    utc, denver = (
        clear_sky(FIRST, DAY, ahead_of_utc_s=np.full(count, 3600.0 * hours))
        for hours in (0.0, -7.0)
    )
    noon = [int(sun.top_w_m2[FAST].argmax()) * STEP_SECONDS / 3600.0 for sun in (utc, denver)]

    assert noon == pytest.approx([12.0, 19.0], abs=0.1)


def test_a_given_irradiance_is_the_likely_one_and_is_not_quite_believed():
    sun = given_sun(np.array([0.0, 500.0]))

    assert sun.top_w_m2[:, 1] == pytest.approx(500.0 * np.array(GIVEN))
    # at 45°: 0.85/π of the level and half of 0.15 + 0.2
    assert sun.side_w_m2[LIKELY, 1] == pytest.approx(500.0 * (0.85 / np.pi + 0.175))
    assert (sun.side_w_m2[:, 0] == 0.0).all()


def test_no_sun_is_the_air():
    dark = no_sun(4)

    assert faced(20.0, mean_c=5.0, levels=dark.side_w_m2[:, :1]) == pytest.approx([20.0] * 3)


def measured(share):
    """Return the sun of a sensor that reads so much of a clear day's level, and the clear day."""
    clock = np.zeros(DAY - FIRST + 1)
    clear = clear_sky(FIRST, DAY, ahead_of_utc_s=clock)
    level = share * clear.top_w_m2[FAST]
    return measured_sky(FIRST, DAY, ahead_of_utc_s=clock, level_w_m2=level), clear, level


def test_a_measured_clear_day_is_likely_the_clear_day_all_round():
    sun, clear, level = measured(1.0)
    noon = int(level.argmax())

    assert sun.top_w_m2[LIKELY] == pytest.approx(level)
    assert sun.side_w_m2[LIKELY, noon] == pytest.approx(clear.side_w_m2[FAST, noon], rel=0.01)


def test_under_an_overcast_sky_the_side_gets_diffuse_light_alone():
    sun, _, level = measured(0.05)
    noon = int(level.argmax())

    # isotropic sky and ground (Duffie and Beckman, ch. 2): half of 1 and of 0.2 of the level
    assert sun.side_w_m2[LIKELY, noon] == pytest.approx(0.6 * level[noon], rel=0.1)


@pytest.mark.parametrize("share", [0.1, 0.6, 1.0])
def test_low_and_high_lie_round_what_a_clear_and_an_overcast_sky_of_that_level_make(share):
    sun, clear, level = measured(share)
    day = level > 20.0
    beam, grey = share * clear.side_w_m2[FAST][day], 0.6 * level[day]

    assert (sun.side_w_m2[SLOW][day] <= 0.7 * np.minimum(beam, grey) + 1e-9).all()
    assert (sun.side_w_m2[FAST][day] >= 1.45 * np.maximum(beam, grey) - 1e-9).all()
    assert sun.top_w_m2 == pytest.approx(np.outer(GIVEN, level))


def test_a_clock_that_is_wrong_makes_no_beam_that_there_is_not():
    # 800 W/m² at midnight of our clock: a sun of 1000/π on the side and diffuse light at the most
    sun = measured_sky(FIRST, FIRST, ahead_of_utc_s=np.zeros(1), level_w_m2=np.array([800.0]))

    assert sun.side_w_m2[LIKELY, 0] < 1000.0 / np.pi + 0.175 * 800.0


def test_a_sensor_that_reads_less_than_nothing_by_night_means_none():
    count = DAY - FIRST + 1

    sun = measured_sky(FIRST, DAY, ahead_of_utc_s=np.zeros(count), level_w_m2=np.full(count, -4.0))

    assert (sun.side_w_m2 == 0.0).all()
    assert (sun.top_w_m2 == 0.0).all()
    assert (sun.open_sky == 1.0).all()


def test_where_nothing_is_measured_another_sun_stands():
    sun, clear, _ = measured(0.3)
    own = np.arange(DAY - FIRST + 1) % 2 == 0

    both = sun.where(own, elsewhere=clear)

    assert (both.side_w_m2[:, own] == sun.side_w_m2[:, own]).all()
    assert (both.side_w_m2[:, ~own] == clear.side_w_m2[:, ~own]).all()
