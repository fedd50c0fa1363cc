"""What drums face at a step: films at the actual temperatures, sun, floor, blanket."""

from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.liquid_films import Films
from drumkeep.domain.liquid_surroundings import Weather
from drumkeep.domain.sun import clear_sky, measured_sky, no_sun
from drumkeep.thermal.boundary import Setting, exposure, lid_film, side_film
from drumkeep.thermal.film_table import WALL_SHARE
from drumkeep.thermal.parameter_sets import FAST, LIKELY, NAMED_SETTING, SLOW
from tests.builders.past import FIRST, advanced, place, received, step

HOURS = 48.0
LAST = step(HOURS)
NOON = step(12.0)


def stand(air=10.0, *, sunny=False, **setting):
    there = replace(place(air, hours=HOURS), setting=Setting(**setting))
    if sunny:
        there = replace(
            there, sun=clear_sky(FIRST, LAST, ahead_of_utc_s=np.zeros(LAST - FIRST + 1))
        )
    return there


def over(there, *, air_c=10.0, mean_c=25.0, now=NOON, share=1.0, factor=1.0, blanket=0.0):
    return Films([there], first=FIRST, last=LAST).over(
        now,
        at=np.zeros(1, dtype=np.intp),
        air_c=np.full((3, 1), air_c),
        mean_c=np.array([mean_c]),
        share=np.array([share]),
        factor=np.array([factor]),
        blanket_r=np.array([blanket]),
    )


@pytest.mark.parametrize("motion", ["still", "fan", "moving", "windy"])
@pytest.mark.parametrize(("air_c", "mean_c"), [(10.0, 25.0), (-25.0, 5.0), (30.0, 12.0)])
def test_films_are_those_of_the_setting_at_the_actual_temperatures(motion, air_c, mean_c):
    wall = air_c + WALL_SHARE * (mean_c - air_c)
    expected = exposure(Setting(motion=motion), surface_c=wall, air_c=air_c)
    found = over(stand(motion=motion), air_c=air_c, mean_c=mean_c)

    assert found.side_w_m2k[0] == pytest.approx(expected.side_w_m2k, rel=0.01)
    assert found.top_w_m2k[0] == pytest.approx(expected.top_w_m2k, rel=0.02)


def test_cold_still_air_has_a_weaker_film_than_the_reference_state_by_more_than_the_spread():
    # why films follow the temperatures: radiation alone is 4 εσT³, 5.1 at 20 °C and 3.2 at −20 °C
    reference = exposure(Setting()).side_w_m2k
    cold = over(stand(), air_c=-25.0, mean_c=-23.0).side_w_m2k[0]

    assert reference / cold > NAMED_SETTING.film


def test_shares_of_place_and_drum_and_what_was_learned_multiply():
    plain = over(stand())
    crowded = over(stand(share=0.7), share=0.8, factor=1.2)

    assert crowded.side_w_m2k == pytest.approx(0.7 * 0.8 * 1.2 * plain.side_w_m2k)
    assert crowded.top_w_m2k == pytest.approx(1.2 * plain.top_w_m2k)


def test_a_blanket_lies_in_series_on_side_and_top():
    plain, wrapped = over(stand()), over(stand(), blanket=0.33)

    assert 1.0 / wrapped.side_w_m2k - 1.0 / plain.side_w_m2k == pytest.approx(0.33)
    assert 1.0 / wrapped.top_w_m2k - 1.0 / plain.top_w_m2k == pytest.approx(0.33)


def test_side_and_top_face_the_air_under_a_roof_and_more_in_the_sun_at_noon():
    roofed, sunny = over(stand()), over(stand(sunny=True))
    night = over(stand(sunny=True), now=FIRST)

    assert (roofed.side_c == 10.0).all()
    assert (roofed.top_c == 10.0).all()
    assert sunny.side_c[LIKELY, 0] > 15.0
    assert sunny.top_c[LIKELY, 0] > 15.0
    assert (night.side_c == 10.0).all()
    # a clear night sky takes 0.9·63 W/m² off
    lid = float(lid_film(Setting(), surface_c=17.5, air_c=10.0))
    assert night.top_c[LIKELY, 0] == pytest.approx(10.0 - 0.9 * 63.0 / lid, abs=0.1)


def test_a_place_in_the_sun_leaves_its_neighbours_in_the_shade():
    films = Films([stand(), stand(sunny=True)], first=FIRST, last=LAST)
    found = films.over(
        NOON,
        at=np.array([0, 1, 0]),
        air_c=np.full((3, 3), 10.0),
        mean_c=np.full(3, 5.0),
        share=np.ones(3),
        factor=np.ones(3),
        blanket_r=np.zeros(3),
    )

    assert (found.side_c[:, [0, 2]] == 10.0).all()
    assert (found.top_c[:, [0, 2]] == 10.0).all()
    assert found.side_c[FAST, 1] > found.side_c[LIKELY, 1] > found.side_c[SLOW, 1] == 10.0


def test_a_yard_drum_in_the_sun_is_warmer_by_day_and_no_warmer_at_least():
    def likely(there):
        return advanced([received(liquid_c=10.0)], hours=18.0, places={1: there}).states["layers"][
            0
        ]

    shade = likely(stand(motion="moving"))
    sun = likely(stand(motion="moving", sunny=True))

    assert sun[LIKELY].mean() > shade[LIKELY].mean() + 1.0
    assert np.ptp(sun.mean(axis=-1)) > np.ptp(shade.mean(axis=-1)) + 1.0


def test_wind_cools_a_drum_faster():
    def after(**setting):
        there = stand(-7.0, **setting)
        run = advanced([received(liquid_c=21.0)], hours=12.0, places={1: there})
        return run.states["layers"][0, LIKELY].mean()

    assert after(motion="windy", wind_m_s=12.0) < after(motion="windy") < after(motion="still")


def test_a_bottom_on_a_slab_faces_the_floor_and_on_a_pallet_half_of_it():
    floor = place(-6.0, hours=HOURS).air
    facing = {
        standing: Weather(
            [replace(stand(standing=standing), floor=floor)], first=FIRST, last=LAST
        ).floor[0, 0]
        for standing in ("slab", "pallet", "truck_floor")
    }

    assert facing == {"slab": -6.0, "truck_floor": -6.0, "pallet": 2.0}


def test_without_a_floor_sensor_the_bottom_faces_the_air():
    weather = Weather([stand(standing="pallet"), stand(standing="slab")], first=FIRST, last=LAST)

    assert (weather.floor == 10.0).all()


def test_the_films_of_all_drums_follow_from_one_table():
    # the table's side film against the correlation, at random drums
    draw = np.random.default_rng(3)
    air, mean = draw.uniform(-30.0, 40.0, 50), draw.uniform(-20.0, 45.0, 50)
    mean = np.where(np.abs(mean - air) < 1.0, air + 2.0, mean)
    found = Films([stand()], first=FIRST, last=LAST).over(
        NOON,
        at=np.zeros(50, dtype=np.intp),
        air_c=np.broadcast_to(air, (3, 50)),
        mean_c=mean,
        share=np.ones(50),
        factor=np.ones(50),
        blanket_r=np.zeros(50),
    )
    expected = side_film(Setting(), surface_c=air + WALL_SHARE * (mean - air), air_c=air)

    assert found.side_w_m2k == pytest.approx(expected, rel=0.01)


def test_the_days_ahead_take_what_sun_may_come_and_not_what_clouds_there_were():
    count = LAST - FIRST + 1
    clock = np.zeros(count)
    sky = clear_sky(FIRST, LAST, ahead_of_utc_s=clock)
    dull = measured_sky(FIRST, LAST, ahead_of_utc_s=clock, level_w_m2=np.full(count, 30.0))
    there = replace(stand(), sun=dull, sky=sky)

    past, ahead = (over(heat, mean_c=5.0) for heat in (there, there.ahead()))

    assert ahead.side_c[FAST, 0] > past.side_c[FAST, 0] + 5.0
    assert stand(sunny=True).ahead().sun is not None


def test_a_lid_faces_the_sky_only_at_the_steps_at_which_it_lies_open():
    count = LAST - FIRST + 1
    sky = clear_sky(FIRST, LAST, ahead_of_utc_s=np.zeros(count))
    open_later = np.arange(FIRST, LAST + 1) >= FIRST + 12
    there = replace(stand(), sun=sky.where(open_later, elsewhere=no_sun(count)))

    assert (over(there, now=FIRST).top_c == 10.0).all()
    assert (over(there, now=FIRST + 12).top_c < 8.0).all()  # midnight: nothing but the cold sky
