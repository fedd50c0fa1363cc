"""What-if forecasts: defaults, limits in closed form, and what is refused."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.forecasts import AirPoint, Forecast, ForecastRequest, SunPoint, forecast
from drumkeep.domain.products import Side, default_product
from drumkeep.errors import Invalid
from drumkeep.thermal.boundary import Exposure, Setting, lid_film, side_film
from drumkeep.thermal.parameter_sets import NAMED_SETTING
from tests.builders.solid_series import cylinder_mean, wall_layers

FILMS = Exposure(side_w_m2k=8.29, top_w_m2k=8.29, bottom_w_m2k=8.29)
COLD = ForecastRequest(side=Side.ISO, start_c=(21.0,) * 8, air=(AirPoint(h=0.0, c=-7.0),), hours=12)


def ask(**changes) -> Forecast:
    return forecast(replace(COLD, **changes))


def refused(**changes):
    with pytest.raises(Invalid) as refusal:
        ask(**changes)
    return [fault.field for fault in refusal.value.faults]


def same(ours: Forecast, theirs: Forecast) -> bool:
    return ours.layers_c == theirs.layers_c


def test_what_is_left_out_is_the_sides_default():
    for side in Side:
        own = default_product(side).properties
        given = ask(
            side=side,
            net_kg=own.net_kg,
            setting=Setting(motion="still", standing="pallet", share=1.0),
            steel_kg=18.1,
        )

        assert same(ask(side=side), given)


def test_properties_given_hold_at_every_temperature():
    # the side's own at 20 °C: density and with it depth then stay, and little else changes
    own = default_product(Side.ISO).properties
    held = ask(properties={"density_kg_m3": own.density_kg_m3})

    assert not same(ask(), held)
    assert held.mean_c == pytest.approx(ask().mean_c, abs=0.3)


def test_films_given_as_numbers_leave_the_steel_out_unless_it_is_given():
    bare = ask(exposure=FILMS)

    assert same(bare, ask(exposure=FILMS, steel_kg=0.0))
    assert not same(bare, ask(exposure=FILMS, steel_kg=18.1))


def test_a_viscosity_given_holds_at_all_temperatures():
    # of a liquid whose own viscosity would change a hundredfold over the course
    thin, thick = (
        ask(side=Side.RESIN, properties={"kinematic_viscosity_m2_s": nu}) for nu in (1e-4, 1e-2)
    )

    assert abs(thick.mean_c[-1] - 21.0) < abs(thin.mean_c[-1] - 21.0)


@pytest.mark.parametrize("steel_kg", [0.0, 18.1])
def test_a_mixed_drum_is_one_node_in_closed_form(steel_kg):
    # m c dT/dt = h A (Ta − T), by hand; within 0.05 K at all times
    course = ask(flow="mixed", exposure=FILMS, steel_kg=steel_kg, net_kg=250.0, hours=48.0)
    height = 250.0 / (1230.0 * math.pi * 0.286**2)
    area = 2.0 * math.pi * 0.286 * height + 2.0 * math.pi * 0.286**2
    capacity = 250.0 * 1800.0 + steel_kg * 465.0 * height / 0.850
    expected = -7.0 + 28.0 * np.exp(-8.29 * area / capacity * 3600.0 * np.array(course.h))

    assert course.mean_c == pytest.approx(expected, abs=0.05)
    assert course.bottom_c == course.top_c


def test_a_mixed_drum_in_air_that_rises_steadily_lags_by_its_time_constant():
    rising = (AirPoint(h=0.0, c=0.0), AirPoint(h=240.0, c=48.0))
    course = ask(flow="mixed", exposure=FILMS, start_c=(0.0,) * 8, air=rising, hours=240.0)
    height = 250.0 / (1230.0 * math.pi * 0.286**2)
    area = 2.0 * math.pi * 0.286 * height + 2.0 * math.pi * 0.286**2
    tau_h = 250.0 * 1800.0 / (8.29 * area) / 3600.0

    assert 48.0 - course.mean_c[-1] == pytest.approx(0.2 * tau_h, rel=1e-3)


def test_straight_lines_join_the_points_of_air():
    corners = (AirPoint(h=0.0, c=0.0), AirPoint(h=6.0, c=12.0), AirPoint(h=12.0, c=12.0))
    every_hour = tuple(AirPoint(h=float(h), c=min(2.0 * h, 12.0)) for h in range(13))

    ours, theirs = ask(air=corners), ask(air=every_hour)
    assert ours.mean_c == pytest.approx(theirs.mean_c, abs=1e-9)


def test_air_holds_before_the_first_and_after_the_last_point():
    late = ask(air=(AirPoint(h=5.0, c=-7.0), AirPoint(h=6.0, c=-7.0)))

    assert same(late, ask())


def test_hours_and_steps_are_those_asked_for():
    course = ask(hours=2.0, step_h=0.75)

    assert course.h == [0.0, 0.75, 1.5]
    assert len(course.low_c) == len(course.layers_c) == 3


def test_values_between_the_steps_of_the_computation_lie_between_its_values():
    fine, coarse = ask(hours=1.0, step_h=1.0 / 12.0), ask(hours=1.0, step_h=0.125)

    assert coarse.mean_c[2] == pytest.approx(fine.mean_c[3])
    assert fine.mean_c[2] < coarse.mean_c[1] < fine.mean_c[1]


def test_layers_are_bottom_first_and_make_the_mean():
    course = ask()
    layers = np.array(course.layers_c)

    # what thick liquid holds before it turns over: hundredths in a full drum
    assert (np.diff(layers, axis=1) >= -0.05).all()
    assert course.mean_c == pytest.approx(layers.mean(axis=1))
    assert course.top_c == pytest.approx(layers[:, -1])


def test_low_and_high_enclose_bottom_and_top_at_all_times():
    course = ask()

    assert (np.array(course.low_c) <= np.array(course.bottom_c)).all()
    assert (np.array(course.high_c) >= np.array(course.top_c)).all()


def test_the_band_starts_at_the_temperature_given():
    course = ask()

    assert (course.low_c[0], course.high_c[0]) == (21.0, 21.0)
    assert course.high_c[4] - course.low_c[4] > 3.0


def test_a_heel_is_cold_long_before_a_full_drum():
    full, heel = ask(targets_c=(10.0,)), ask(net_kg=30.0, targets_c=(10.0,))
    hours = [course.reach[0].mean_h or math.inf for course in (full, heel)]

    assert hours[1] < hours[0] / 2.0


def test_targets_keep_their_order():
    course = ask(targets_c=(15.0, 40.0, 18.0))

    assert [reach.target_c for reach in course.reach] == [15.0, 40.0, 18.0]
    assert course.reach[1].mean_h is None


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"step_h": 13.0}, ["step_h"]),
        ({"hours": 744.0, "step_h": 0.25}, ["step_h"]),
        ({"net_kg": 267.0}, ["net_kg"]),
        ({"properties": {"density_kg_m3": 1000.0}}, ["net_kg"]),
        ({"air": (AirPoint(3.0, 1.0), AirPoint(2.0, 1.0))}, ["air_c.1.h"]),
        ({"net_kg": 300.0, "step_h": 99.0}, ["step_h", "net_kg"]),
        ({"sun": (SunPoint(1.0, 0.0), SunPoint(1.0, 9.0))}, ["setting.sun_w_m2.1.h"]),
    ],
)
def test_what_does_not_hold_together_is_refused_by_field(changes, fields):
    assert refused(**changes) == fields


def solid(**changes) -> Forecast:
    return ask(flow="none", exposure=FILMS, net_kg=250.0, **changes)


@pytest.mark.parametrize("hours", [1.0, 6.0, 24.0, 48.0])
def test_a_drum_of_solids_is_the_exact_series_layer_by_layer(hours):
    # finite cylinder, product of wall and cylinder (Incropera et al., section 5.8); within 0.05 K
    course = solid(hours=hours, step_h=hours)
    half = 0.5 * 250.0 / (1230.0 * math.pi * 0.286**2)
    alpha, k = 0.1255 / (1230.0 * 1800.0), 0.1255
    up = wall_layers(8, fourier=alpha * hours * 3600.0 / half**2, biot=8.29 * half / k)
    across = cylinder_mean(fourier=alpha * hours * 3600.0 / 0.286**2, biot=8.29 * 0.286 / k)

    assert course.layers_c[-1] == pytest.approx(-7.0 + 28.0 * up * across, abs=0.05)


def test_a_drum_of_solids_has_a_band_of_slow_and_fast_and_none_at_its_start():
    course = solid(hours=24.0, targets_c=(10.0,))
    low, mean, high = (np.array(v) for v in (course.low_c, course.mean_c, course.high_c))

    assert low[0] == high[0] == 21.0
    assert (low[1:] < mean[1:]).all()
    assert (mean[1:] < high[1:]).all()
    reach = course.reach[0]
    assert reach.fast_h is not None
    assert reach.bottom_h is not None
    assert reach.fast_h <= reach.bottom_h


def test_warming_up_takes_longest_as_a_solid_and_shortest_stirred():
    # domain rule: every drum lies between the two bounds
    warm = {"start_c": (5.0,) * 8, "air": (AirPoint(0.0, 25.0),), "hours": 96.0}
    hours = [
        ask(exposure=FILMS, flow=flow, targets_c=(20.0,), **warm).reach[0].mean_h
        for flow in ("mixed", "free", "none")
    ]

    reached = [hour for hour in hours if hour is not None]
    assert len(reached) == 3
    assert reached == sorted(reached)


def test_a_solid_on_a_cold_floor_is_coldest_at_its_bottom():
    setting = Setting(standing="slab")
    floored = ask(flow="none", setting=setting, start_c=(15.0,) * 8, air=(AirPoint(0.0, 15.0),))
    cold = ask(
        flow="none", setting=setting, start_c=(15.0,) * 8, air=(AirPoint(0.0, 15.0),), floor_c=-5.0
    )

    assert np.ptp(floored.layers_c[-1]) < 1e-6
    assert (np.diff(cold.layers_c[-1]) > -1e-9).all()
    assert cold.bottom_c[-1] < 14.0


def test_a_pallet_feels_half_of_what_a_cold_floor_is_to_a_slab_beside_its_weaker_film():
    still = {"start_c": (15.0,) * 8, "air": (AirPoint(0.0, 15.0),), "floor_c": -5.0}
    pallet = ask(setting=Setting(standing="pallet"), hours=1.0, **still)
    slab = ask(setting=Setting(standing="slab"), hours=1.0, **still)

    # films 3 and 6, and half the difference under boards with air beneath: a quarter, and more for
    # the still liquid over the floor, which both have to pass
    ratio = (15.0 - pallet.mean_c[-1]) / (15.0 - slab.mean_c[-1])
    assert 0.25 < ratio < 0.40


def test_wind_crowding_and_a_blanket_change_the_pace_as_they_should():
    def left(**changes):
        return ask(setting=Setting(**changes)).mean_c[-1]

    assert left(motion="windy") < left(motion="moving") < left(motion="fan") < left()
    assert left(motion="windy", wind_m_s=15.0) < left(motion="windy")
    assert left() < left(share=0.7) < left(share=0.5)
    assert left() < left(blanket_r_m2k_w=0.33) < left(blanket_r_m2k_w=1.0)


def test_films_of_a_setting_are_within_their_spread_all_along_a_course():
    # one number a course, taken at its means; at every hour against the correlation itself
    for motion in ("still", "fan", "moving", "windy"):
        for start, air in ((4.0, 27.0), (21.0, -7.0), (30.0, -25.0), (-15.0, 5.0)):
            setting = Setting(motion=motion)
            course = ask(
                setting=setting, start_c=(start,) * 8, air=(AirPoint(0.0, air),), hours=24.0
            )
            mean = np.array(course.mean_c)
            wall = air + 0.5 * (mean - air)
            actual = np.asarray(side_film(setting, surface_c=wall, air_c=np.full(len(wall), air)))
            middle = air + 0.5 * (mean - air).mean()
            used = float(side_film(setting, surface_c=middle, air_c=air))

            assert actual.max() / used < NAMED_SETTING.film
            assert used / actual.min() < NAMED_SETTING.film


def test_sun_warms_a_drum_and_widens_its_band():
    dark, sunny = ask(hours=6.0), ask(hours=6.0, sun=(SunPoint(0.0, 600.0),))
    white = ask(hours=6.0, sun=(SunPoint(0.0, 600.0),), absorptance=0.25)

    assert dark.mean_c[-1] < white.mean_c[-1] < sunny.mean_c[-1]
    assert sunny.high_c[-1] - sunny.low_c[-1] > dark.high_c[-1] - dark.low_c[-1]
    assert sunny.low_c[-1] > dark.low_c[-1]


def test_a_drum_in_steady_sun_comes_to_the_sol_air_temperature_of_its_faces():
    # closed form of one node: the faces' sol-air temperatures weighted by their conductances;
    # 500 W/m² on the level is 500·(0.85/π + 0.175) round the side, sky 63 W/m² at the lid
    course = ask(
        flow="mixed",
        start_c=(20.0,) * 8,
        air=(AirPoint(0.0, 20.0),),
        sun=(SunPoint(0.0, 500.0),),
        hours=400.0,
        step_h=100.0,
        setting=Setting(motion="windy"),
    )
    end = course.mean_c[-1]
    wall = 20.0 + 0.5 * (end - 20.0)
    side = float(side_film(Setting(motion="windy"), surface_c=wall, air_c=20.0))
    lid = float(lid_film(Setting(motion="windy"), surface_c=wall, air_c=20.0))
    faces = (
        20.0 + 0.9 * 500.0 * (0.85 / math.pi + 0.175) / side,
        20.0 + (0.9 * 500.0 - 0.9 * 63.0) / lid,
        20.0,
    )
    height = 250.0 / (1230.0 * math.pi * 0.286**2)
    areas = (2.0 * math.pi * 0.286 * height, math.pi * 0.286**2, math.pi * 0.286**2)
    films = (side, 1.0 / (1.0 / lid + 1.0 / 4.3), 3.0)
    weights = [area * film for area, film in zip(areas, films, strict=True)]

    expected = sum(w * c for w, c in zip(weights, faces, strict=True)) / sum(weights)
    assert end == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"air": (AirPoint(0.0, -58.0),)}, "Sutherland"),
        ({"net_kg": 30.0}, "depth"),
        ({"start_c": (-35.0,) * 8, "air": (AirPoint(0.0, -40.0),)}, "kinematic viscosity"),
        ({"setting": Setting(motion="windy", wind_m_s=30.0)}, "outside film"),
    ],
)
def test_what_lies_beyond_a_range_is_said(changes, words):
    assert any(words in sentence for sentence in ask(**changes).warnings)


def test_a_usual_drum_in_usual_air_is_inside_every_range():
    for motion in ("still", "fan", "moving"):
        for side, start, air in (
            (Side.ISO, 4.0, 27.0),
            (Side.ISO, 21.0, -7.0),
            (Side.RESIN, 18.0, 27.0),
        ):
            said = ask(
                side=side,
                setting=Setting(motion=motion),
                start_c=(start,) * 8,
                air=(AirPoint(0.0, air),),
            ).warnings

            assert said == []


@pytest.mark.parametrize("flow", ["free", "none", "mixed"])
@pytest.mark.parametrize(("start", "air"), [(4.0, 27.0), (40.0, -10.0)])
def test_the_band_stays_between_the_coldest_and_hottest_of_start_and_air(start, air, flow):
    # by the second law: without a heater nothing leaves the span of what it began from and faced
    course = ask(start_c=(start,) * 8, air=(AirPoint(h=0.0, c=air),), hours=24, flow=flow)

    assert min(course.low_c) >= min(start, air) - 1e-9
    assert max(course.high_c) <= max(start, air) + 1e-9
    assert course.high_c[4] > course.low_c[4]


def test_warmer_air_never_lowers_the_low_end():
    lows = [
        ask(start_c=(4.0,) * 8, air=(AirPoint(h=0.0, c=air),), hours=24).low_c
        for air in (5.0, 15.0, 27.0)
    ]

    for colder, warmer in itertools.pairwise(lows):
        assert all(a <= b + 1e-9 for a, b in zip(colder, warmer, strict=True))
