"""What holds for the layers of any drum in any air."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import linalg, optimize

from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.kernel import C_FILM, C_FLOW, FLOW_POWER
from drumkeep.thermal.properties import NODES_C, Row
from drumkeep.thermal.stratified import (
    LAYERS,
    advance,
    depth,
    heat_capacity,
    overturn,
)
from tests.builders.liquid import layers, liquid

GRAVITY = 9.80665
RADIUS = 0.286

temperatures = st.floats(-40.0, 60.0)
stacks = st.lists(temperatures, min_size=LAYERS, max_size=LAYERS)
stable_stacks = stacks.map(sorted)
seconds = st.sampled_from([300.0, 900.0])

# Both sides of the trade and more: heels to full drums, thin to nearly set, calm to storm.
drums = st.fixed_dictionaries(
    {
        "mass_kg": st.floats(0.5, 280.0),
        "density_kg_m3": st.floats(1000.0, 1300.0),
        "specific_heat_j_kgk": st.floats(1500.0, 2400.0),
        "conductivity_w_mk": st.floats(0.10, 0.20),
        "expansion_1_k": st.floats(5e-4, 1e-3),
        "viscosity_25c_pas": st.floats(0.02, 20.0),
        "viscosity_slope_k": st.floats(0.0, 11_000.0),
        "side_w_m2k": st.floats(1.0, 40.0),
        "top_w_m2k": st.floats(0.0, 10.0),
        "bottom_w_m2k": st.floats(0.0, 10.0),
        "steel_kg": st.sampled_from([0.0, 18.1]),
    }
)


def step(start, *, drum, air_c, floor_c=None, heat_w=0.0, seconds=300.0):
    return advance(
        np.array([start], dtype=np.float64),
        liquid=liquid(**drum),
        side_c=np.array([air_c]),
        floor_c=np.array([air_c if floor_c is None else floor_c]),
        heat_w=heat_w / LAYERS,
        seconds=seconds,
    )[0]


def side_heat_and_core(start, *, drum, air_c, seconds):
    """Heat through the side, J, and the layers it leaves: one drum, by the written equations."""
    one = {name: float(value) for name, value in drum.items()}
    height = float(depth(liquid(**drum), mean_c=20.0)[0])
    capacity = float(heat_capacity(liquid(**drum), mean_c=20.0)[0]) / LAYERS
    k, rho, c = one["conductivity_w_mk"], one["density_kg_m3"], one["specific_heat_j_kgk"]
    alpha = k / (rho * c)
    mean = float(np.mean(start))
    h_out, h_in, ra = one["side_w_m2k"], 4.0 * k / RADIUS, 0.0
    for _ in range(3):
        wall_k = (air_c - mean) * h_out / (h_out + h_in)
        film_c = mean + wall_k / 2.0
        mu = np.exp(np.interp(film_c, NODES_C, liquid(**drum).tables[0, Row.LOG_VISCOSITY]))
        ra = GRAVITY * one["expansion_1_k"] * abs(wall_k) * height**3 / (mu / rho * alpha)
        h_in = max(C_FILM * k / height * ra**0.25, 4.0 * k / RADIUS)
    film = PERIMETER_M * height / LAYERS / (1.0 / h_out + 1.0 / h_in)
    most = C_FLOW * rho * alpha * PERIMETER_M * ra**0.25 * c
    most = min(most, 0.9 * capacity / seconds)
    stack = list(start) if air_c > mean else list(start)[::-1]
    flow = [most * (j / LAYERS) ** FLOW_POWER for j in range(LAYERS + 1)]
    stream, streams = 0.0, []
    for j in range(1, LAYERS + 1):
        entrained = (flow[j] - flow[j - 1]) * stack[j - 1]
        stream = (flow[j - 1] * stream + entrained + film * air_c) / (flow[j] + film)
        streams.append(stream)
    above = [*stack[1:], stream]
    core = [t + flow[j + 1] * (above[j] - t) * seconds / capacity for j, t in enumerate(stack)]
    heat = seconds * film * sum(air_c - s for s in streams)
    return heat, core if air_c > mean else core[::-1]


def conducted(core, *, drum, air_c, floor_c, seconds):
    """Layers after an implicit step of conduction and end losses, by scipy's banded solver."""
    height = float(depth(liquid(**drum), mean_c=20.0)[0])
    scale = (
        seconds / (float(heat_capacity(liquid(**drum), mean_c=20.0)[0]) / LAYERS) * CROSS_SECTION_M2
    )
    between = drum["conductivity_w_mk"] / (height / LAYERS) * scale
    top, bottom = drum["top_w_m2k"] * scale, drum["bottom_w_m2k"] * scale
    bands = np.zeros((3, LAYERS))
    bands[0, 1:] = bands[2, :-1] = -between
    bands[1] = 1.0 + 2.0 * between
    bands[1, 0] += bottom - between
    bands[1, -1] += top - between
    right = np.array(core)
    right[0] += bottom * floor_c
    right[-1] += top * air_c
    return linalg.solve_banded((1, 1), bands, right)


@given(drum=drums, start=stable_stacks, air_c=temperatures, floor_c=temperatures, seconds=seconds)
def test_the_heat_gained_is_what_came_through_side_and_ends(drum, start, air_c, floor_c, seconds):
    side, core = side_heat_and_core(start, drum=drum, air_c=air_c, seconds=seconds)
    after = conducted(core, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds)
    ends = (
        seconds
        * CROSS_SECTION_M2
        * (drum["top_w_m2k"] * (air_c - after[-1]) + drum["bottom_w_m2k"] * (floor_c - after[0]))
    )
    ours = step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds)
    gained = (ours.mean() - np.mean(start)) * float(heat_capacity(liquid(**drum), mean_c=20.0)[0])

    assert gained == pytest.approx(side + ends, abs=1e-3)  # J, of some hundred kilojoules


@given(drum=drums, start=stable_stacks, air_c=temperatures, floor_c=temperatures, seconds=seconds)
def test_a_step_is_that_of_the_written_equations(drum, start, air_c, floor_c, seconds):
    _, core = side_heat_and_core(start, drum=drum, air_c=air_c, seconds=seconds)
    after = conducted(core, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds)
    expected = optimize.isotonic_regression(after).x

    ours = step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds)
    assert ours == pytest.approx(expected, abs=1e-9)


@given(drum=drums, start=stable_stacks, watts=st.floats(0.0, 1500.0))
def test_a_heater_warms_the_liquid_by_its_energy(drum, start, watts):
    mean = float(np.mean(start))
    lossless = drum | {"top_w_m2k": 0.0, "bottom_w_m2k": 0.0}
    # air at the mean: the wall drives nothing
    heated, idle = (
        step(start, drum=lossless, air_c=mean, heat_w=w, seconds=300.0).mean() for w in (watts, 0.0)
    )

    assert (heated - idle) * float(heat_capacity(liquid(**drum), mean_c=20.0)[0]) == pytest.approx(
        watts * 300.0, rel=1e-6, abs=1e-3
    )


@given(drum=drums, start=stacks, air_c=temperatures, floor_c=temperatures, seconds=seconds)
def test_no_layer_leaves_the_span_of_liquid_air_and_floor(drum, start, air_c, floor_c, seconds):
    after = step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds)

    assert after.min() >= min(*start, air_c, floor_c) - 1e-9
    assert after.max() <= max(*start, air_c, floor_c) + 1e-9


@given(drum=drums, start=stacks, air_c=temperatures, seconds=seconds)
def test_the_liquid_is_never_left_colder_above(drum, start, air_c, seconds):
    assert (np.diff(step(start, drum=drum, air_c=air_c, seconds=seconds)) >= -1e-9).all()


@given(drum=drums, start_c=temperatures, air_c=temperatures)
def test_the_mean_goes_to_the_air_and_never_back_or_past_it(drum, start_c, air_c):
    stack = [start_c] * LAYERS
    means = [start_c]
    for _ in range(100):
        stack = step(stack, drum=drum, air_c=air_c, seconds=900.0)
        means.append(float(stack.mean()))
    distance = np.abs(np.array(means) - air_c)

    assert (np.diff(distance) <= 1e-9).all()
    assert ((np.array(means) - air_c) * (start_c - air_c) >= -1e-9).all()
    assert distance[-1] < abs(start_c - air_c) or distance[0] < 1e-6


@given(drum=drums, temperature_c=temperatures)
def test_a_drum_as_warm_as_air_and_floor_stays_as_it_is(drum, temperature_c):
    after = step([temperature_c] * LAYERS, drum=drum, air_c=temperature_c)

    assert after == pytest.approx([temperature_c] * LAYERS, abs=1e-9)


@given(start=stacks, air_c=temperatures, side=st.floats(1.0, 100.0), mass_kg=st.floats(0.0, 0.5))
@example(start=[20.0] * LAYERS, air_c=-30.0, side=40.0, mass_kg=0.5)
@example(start=[20.0] * LAYERS, air_c=-30.0, side=40.0, mass_kg=0.0)
def test_the_thinnest_heel_follows_the_air_and_stays_finite(start, air_c, side, mass_kg):
    drum = {"mass_kg": mass_kg, "side_w_m2k": side, "top_w_m2k": 10.0}
    stack = start
    for _ in range(48):
        stack = step(stack, drum=drum, air_c=air_c)

    assert np.isfinite(stack).all()
    assert stack.min() >= min(*start, air_c) - 1e-9
    assert stack.max() <= max(*start, air_c) + 1e-9
    assert abs(stack.mean() - air_c) < 0.5  # half a kilogram: minutes, not hours


@given(stack=stacks)
def test_overturning_keeps_the_mean_and_gives_a_stable_stack(stack):
    after = overturn(np.array([stack]))[0]

    assert after.mean() == pytest.approx(np.mean(stack), abs=1e-9)
    assert (np.diff(after) >= -1e-12).all()
    assert overturn(after[None, :])[0] == pytest.approx(after, abs=1e-12)


@given(stack=stacks)
def test_overturning_is_isotonic_regression(stack):
    assert overturn(np.array([stack]))[0] == pytest.approx(
        optimize.isotonic_regression(stack).x, abs=1e-9
    )


@given(
    many=st.lists(st.tuples(drums, stable_stacks, temperatures), min_size=2, max_size=5),
    seconds=seconds,
)
def test_drums_advanced_together_are_as_each_alone(many, seconds):
    together = {name: np.array([drum[name] for drum, _, _ in many]) for name in many[0][0]}
    air = np.array([air_c for _, _, air_c in many])
    ours = advance(
        np.array([start for _, start, _ in many]),
        liquid=liquid(len(many), **together),
        side_c=air,
        seconds=seconds,
    )

    for row, (drum, start, air_c) in zip(ours, many, strict=True):
        assert row == pytest.approx(step(start, drum=drum, air_c=air_c, seconds=seconds), abs=1e-12)


def test_a_taller_stack_of_sets_is_as_each_set_alone():
    drum = liquid(2, mass_kg=np.array([250.0, 40.0]))
    start = np.stack([layers(20.0, drums=2), layers(5.0, drums=2), layers(-3.0, drums=2)])
    air = np.array([[-7.0], [0.0], [27.0]])
    together = advance(start, liquid=drum, side_c=air, seconds=300.0)

    for i in range(3):
        alone = advance(start[i], liquid=drum, side_c=air[i], seconds=300.0)
        assert together[i] == pytest.approx(alone, abs=1e-12)
