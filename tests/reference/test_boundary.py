"""A drum's films against building practice, against their own parts, and against their ranges.

ASHRAE Handbook of Fundamentals, surface conductances of non-reflective surfaces in still air (from
memory; the chapter was located and its table not readable): vertical 8.29 W/m²K, horizontal with
the heat flowing up 9.26, down 6.13. ISO 6946: 0.13 m²K/W indoors, horizontal heat flow.
"""

import math

import numpy as np
import pytest

from drumkeep.thermal.boundary import (
    BLANKET_R_M2K_W,
    BOTTOM_FILM_W_M2K,
    HEADSPACE_FILM_W_M2K,
    SHARES,
    Setting,
    exposure,
    lid_film,
    out_of_range,
    side_film,
)
from drumkeep.thermal.convection import (
    air_at,
    cross_flow_film,
    mixed,
    outside,
    plate_form,
    still_air_film,
)
from drumkeep.thermal.film_table import WALL_SHARE, film_table
from drumkeep.thermal.parameter_sets import NAMED_SETTING
from drumkeep.thermal.radiation import between_plates, radiation_film

MOTIONS = ("still", "fan", "moving", "windy")


def test_the_side_of_a_drum_in_still_air_is_near_the_combined_film_of_building_codes():
    film = side_film(Setting(), surface_c=10.0, air_c=25.0)

    assert 7.7 <= film <= 9.2
    assert film == pytest.approx(8.29, rel=0.06)


def test_a_lid_in_still_air_is_near_the_horizontal_films_of_ashrae():
    # ASHRAE's are for walls of a room, 5.6 K from its air at 21 °C: within a fifth, and ordered
    warmer = float(lid_film(Setting(), surface_c=26.6, air_c=21.0))
    colder = float(lid_film(Setting(), surface_c=15.4, air_c=21.0))

    assert warmer == pytest.approx(9.26, rel=0.06)
    assert colder == pytest.approx(6.13, rel=0.20)


def test_a_drum_loses_more_where_the_air_moves_more():
    films = [side_film(Setting(motion=motion), surface_c=10.0, air_c=25.0) for motion in MOTIONS]

    assert films == sorted(films)
    assert films[0] < films[-2] / 2.0


def test_wind_given_as_a_number_takes_the_place_of_the_word():
    given = [Setting(motion=motion, wind_m_s=6.7) for motion in MOTIONS[1:]]
    films = [side_film(setting, surface_c=10.0, air_c=25.0) for setting in given]

    assert films == pytest.approx([films[-1]] * 3)
    assert films[-1] == side_film(Setting(motion="windy"), surface_c=10.0, air_c=25.0)


def test_free_and_forced_convection_join_by_their_cubes():
    # Incropera et al., section 9.9, n = 3; by hand: (3³ + 4³)^(1/3) = 4.4979
    assert mixed(forced=4.0, free=3.0, exponent=3.0) == pytest.approx(4.4979, abs=1e-4)

    setting = Setting(motion="windy", wind_m_s=0.3)
    film = side_film(setting, surface_c=0.0, air_c=20.0) - radiation_film(mean_c=10.0)
    free = still_air_film(surface_c=0.0, air_c=20.0, height_m=0.85)
    forced = cross_flow_film(speed_m_s=0.3, air_c=10.0, diameter_m=0.572)
    assert film == pytest.approx((free**3 + forced**3) ** (1.0 / 3.0))


def test_the_top_of_a_drum_is_insulated_by_its_headspace():
    # our reckoning: about 2.8 W/m²K, lid film and headspace in series
    films = exposure(Setting())
    lid = lid_film(Setting(), surface_c=10.0, air_c=25.0)

    assert films.top_w_m2k == pytest.approx(2.8, abs=0.15)
    assert films.top_w_m2k == pytest.approx(1.0 / (1.0 / lid + 1.0 / HEADSPACE_FILM_W_M2K))


def test_a_drum_in_a_block_shows_the_air_a_share_of_its_side_only():
    alone = exposure(Setting())
    crowded = exposure(Setting(share=0.6))

    assert crowded.side_w_m2k == pytest.approx(0.6 * alone.side_w_m2k)
    assert crowded.top_w_m2k == alone.top_w_m2k


def test_four_on_a_pallet_radiate_by_the_string_around_them_and_convect_by_most_of_their_sides():
    # Hottel's crossed strings (Incropera et al., ch. 13): all that leaves four touching circles
    # passes the string round them, 8R + 2πR of 8πR. Convection reaches about 0.85 (our judgement).
    radiates = (8.0 + 2.0 * math.pi) / (8.0 * math.pi)

    assert radiates == pytest.approx(0.568, abs=1e-3)
    assert SHARES["four"] == pytest.approx(0.5 * (radiates + 0.85), abs=0.02)
    assert SHARES["alone"] > SHARES["four"] > SHARES["block"]


def test_a_blanket_stands_in_series_on_side_and_top():
    bare = exposure(Setting())
    wrapped = exposure(Setting(blanket_r_m2k_w=BLANKET_R_M2K_W))

    assert 1.0 / wrapped.side_w_m2k - 1.0 / bare.side_w_m2k == pytest.approx(0.33)
    assert 1.0 / wrapped.top_w_m2k - 1.0 / bare.top_w_m2k == pytest.approx(0.33)
    assert wrapped.bottom_w_m2k == bare.bottom_w_m2k
    # 13 mm of glass fibre: k 0.038 to 0.046 W/(m K) (Incropera et al., table A.3)
    assert 0.013 / 0.046 <= BLANKET_R_M2K_W <= 0.013 / 0.038


def test_a_slab_is_the_air_gap_under_the_head_and_radiation_across_it():
    # 15 to 20 mm of still air, paint 0.90 over concrete 0.92 (thermal-camera tables), at 10 °C
    gap = air_at(10.0).conductivity_w_mk / 0.0175
    radiative = between_plates(mean_c=10.0, emissivity=0.90, opposite=0.92)

    assert gap + radiative == pytest.approx(BOTTOM_FILM_W_M2K["slab"], rel=0.05)


def test_pallet_and_truck_floor_are_the_gap_and_wood_within_their_spread():
    # our reckoning: boards of 16 mm, k 0.12, over 71 to 90 % of the deck, air under them as
    # ASHRAE's 6.13 and 9.26; a truck floor of 12 to 18 mm plywood, k 0.13, wind under it
    gap = BOTTOM_FILM_W_M2K["slab"]
    board = 1.0 / (1.0 / gap + 0.016 / 0.12 + 1.0 / 7.7)
    pallet = [share * board + (1.0 - share) * gap for share in (0.71, 0.9)]
    truck = [1.0 / (1.0 / gap + wood / 0.13) for wood in (0.012, 0.018)]

    for ours, parts in (("pallet", pallet), ("truck_floor", truck)):
        for part in parts:
            ratio = part / BOTTOM_FILM_W_M2K[ours]
            assert 1.0 / NAMED_SETTING.film <= ratio <= NAMED_SETTING.film


def test_a_drum_is_broad_enough_to_count_as_a_plate():
    # Incropera et al., section 9.6.1: D/L ≥ 35/Gr^¼. Here D/L = 0.673, so Gr from 7.3e6 on: even
    # 0.1 K from the air has more.
    least = (35.0 * 0.85 / 0.572) ** 4

    assert least == pytest.approx(7.3e6, rel=0.01)
    assert plate_form(grashof_number=least, diameter_m=0.572, height_m=0.85) == pytest.approx(1.0)
    assert out_of_range(Setting(), surface_c=10.0, air_c=10.6) == ()


@pytest.mark.parametrize("motion", MOTIONS)
@pytest.mark.parametrize("air_c", [-30.0, -7.0, 27.0, 60.0])
def test_every_drum_in_a_stock_is_inside_the_ranges(motion, air_c):
    for difference in (-30.0, -5.0, -0.6, 0.0, 0.6, 5.0, 30.0):
        said = out_of_range(Setting(motion=motion), surface_c=air_c + difference, air_c=air_c)
        # McAdams' lid that cools the air begins at Ra 1e5: a kelvin or so
        assert [one for one in said if abs(difference) > 1.0 or "McAdams" not in one] == []


@pytest.mark.parametrize(
    ("setting", "surface_c", "air_c", "named"),
    [
        (Setting(), -58.0, -55.0, "Sutherland"),
        (Setting(), 130.0, 110.0, "Sutherland"),
        (Setting(motion="windy", wind_m_s=0.002), 10.0, 25.0, "Churchill and Bernstein"),
        (Setting(motion="windy", wind_m_s=0.02), 10.0, 25.0, "flat plate"),
    ],
)
def test_what_lies_outside_a_range_is_said(setting, surface_c, air_c, named):
    said = out_of_range(setting, surface_c=surface_c, air_c=air_c)

    assert any(named in sentence for sentence in said)
    assert all("less certain" in sentence for sentence in said)


@pytest.mark.parametrize(
    ("name", "inside", "beyond"),
    [
        ("plate", 1e9, 2e12),
        ("lid_up", 1e6, 2e11),
        ("lid_down", 1e6, 5e4),
        ("cross_flow", 1e5, 2e7),
        ("flat", 1e5, 2e8),
        ("slender", 5.0, 0.9),
        ("air_c", 20.0, -51.0),
    ],
)
def test_a_range_ends_where_it_was_published_to_end(name, inside, beyond):
    assert outside(name, inside) is None
    assert f"{beyond:.3g}" in (outside(name, np.array([inside, beyond])) or "")


@pytest.mark.parametrize("motion", MOTIONS)
def test_the_table_of_films_is_the_correlations(motion):
    setting = Setting(motion=motion)
    air, liquid = (
        part.ravel() for part in np.meshgrid(np.linspace(-40.0, 45.0, 18), np.linspace(-30, 65, 41))
    )
    inside = (np.abs(liquid - air) >= 1.0) & (np.abs(liquid - air) <= 60.0)
    air, liquid = air[inside], liquid[inside]
    side, lid = film_table([Setting(), setting]).at(
        np.ones(len(air), dtype=np.intp), air_c=air, liquid_c=liquid
    )
    wall = air + WALL_SHARE * (liquid - air)

    # the lid has a step of 6 % at Ra 1e7
    assert side == pytest.approx(side_film(setting, surface_c=wall, air_c=air), rel=0.01)
    assert lid == pytest.approx(
        lid_film(setting, surface_c=wall, air_c=air), rel=0.03
    )  # 6 % at Ra 1e7


def test_where_the_wall_lies_changes_a_film_less_than_its_spread():
    # The table takes it half-way from air to liquid. By the films inside a drum it lies at a third
    # to three quarters (8-18 W/m²K inside; outside still air 8, wind 25).
    for motion in MOTIONS:
        for air in (-25.0, 0.0, 25.0):
            for difference in (-30.0, -10.0, -3.0, 3.0, 10.0, 30.0):
                films = [
                    side_film(Setting(motion=motion), surface_c=air + share * difference, air_c=air)
                    for share in (0.33, WALL_SHARE, 0.75)
                ]
                assert films[1] / min(films) < NAMED_SETTING.film**0.5
                assert max(films) / films[1] < NAMED_SETTING.film**0.5


def test_the_headspace_is_still_gas_and_radiation_across_it():
    # a usual drum has 40 to 60 mm of gas over its liquid; lined lid and liquid 0.9 each, at 10 °C
    radiative = between_plates(mean_c=10.0, emissivity=0.9, opposite=0.9)

    for gap_m in (0.04, 0.06):
        parts = radiative + air_at(10.0).conductivity_w_mk / gap_m
        assert parts == pytest.approx(HEADSPACE_FILM_W_M2K, rel=0.15)
