"""What-if forecasts: defaults, limits in closed form, and what is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.forecasts import AirPoint, Forecast, ForecastRequest, forecast
from drumkeep.domain.products import Side, default_product
from drumkeep.errors import Invalid
from drumkeep.thermal.boundary import Exposure, exposure_of

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
        films = exposure_of(motion="still", standing="pallet")
        given = ask(
            side=side,
            net_kg=own.net_kg,
            exposure=films,
            steel_kg=18.1,
            properties={
                "density_kg_m3": own.density_kg_m3,
                "specific_heat_j_kgk": own.specific_heat_j_kgk,
                "conductivity_w_mk": own.conductivity_w_mk,
                "expansion_1_k": own.expansion_1_k,
            },
        )

        assert same(ask(side=side), given)


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

    assert (np.diff(layers, axis=1) >= -1e-9).all()
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
        ({"flow": "none"}, ["flow"]),
        ({"step_h": 13.0}, ["step_h"]),
        ({"hours": 744.0, "step_h": 0.25}, ["step_h"]),
        ({"net_kg": 267.0}, ["net_kg"]),
        ({"properties": {"density_kg_m3": 1000.0}}, ["net_kg"]),
        ({"air": (AirPoint(3.0, 1.0), AirPoint(2.0, 1.0))}, ["air_c.1.h"]),
        ({"flow": "none", "net_kg": 300.0, "step_h": 99.0}, ["flow", "step_h", "net_kg"]),
    ],
)
def test_what_does_not_hold_together_is_refused_by_field(changes, fields):
    assert refused(**changes) == fields


def test_solids_are_not_computed_as_if_they_flowed():
    with pytest.raises(Invalid) as refusal:
        ask(flow="none")

    assert "not computed yet" in str(refusal.value)
