"""What holds for the layers of any drum in any air."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import linalg, optimize

from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.kernel import (
    C_FILM,
    C_FLOW,
    C_TURNING,
    CRITICAL_RAYLEIGH,
    SHARP,
    SHARP_PER_FILM,
    STILL_BOTTOM,
    STILL_TOP,
    STREAM_SHARE,
    TURNING_LAYERS,
)
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


def written_step(start, *, drum, air_c, floor_c, seconds):  # noqa: C901, PLR0915 - as it is told
    """Layers after a step, and the heat that came through side and ends, J: as it is written.

    One drum, in plain numbers: the film by bracketing, conduction by a banded solver, pooling by
    isotonic regression.
    """
    one = liquid(**drum)
    mean = float(np.mean(start))
    height = float(depth(one, mean_c=mean)[0])
    capacity = float(heat_capacity(one, mean_c=mean)[0]) / LAYERS
    k, rho, c = drum["conductivity_w_mk"], drum["density_kg_m3"], drum["specific_heat_j_kgk"]
    dz = height / LAYERS
    film = C_FILM * k
    layers, source = list(start), [0.0] * LAYERS
    flow = [0.0] * (LAYERS + 1)
    heat, largest, thickest, met = 0.0, 0.0, 0.0, 0
    courant = 0.9 * capacity
    most = 64 * courant / seconds

    def follow(order, way):
        nonlocal heat, largest, thickest, met
        carried = excess = 0.0
        last = None
        for j in order:
            drive = (air_c - layers[j]) * way
            if drive <= 1e-9:
                break
            if last is not None:
                step_k = (layers[j] - layers[last]) * way
                if carried * step_k > excess:
                    flow[j if way > 0 else j + 1] = excess / step_k * way
                    excess = 0.0
                else:
                    excess -= carried * step_k
            mu = np.interp(0.5 * (air_c + layers[j]), NODES_C, one.tables[0, Row.VISCOSITY])
            lift = C_FLOW * rho * c * GRAVITY * drum["expansion_1_k"] / (mu / rho) * PERIMETER_M

            def wall(d, drive=drive):
                return drive * drum["side_w_m2k"] / (drum["side_w_m2k"] + film / d)

            def taken(d, wall=wall):
                return film / d * wall(d) * PERIMETER_M * dz

            def spare(d, lift=lift, wall=wall, taken=taken, excess=excess):
                return lift * STREAM_SHARE * wall(d) ** 2 * d**3 - excess - taken(d)

            widest = RADIUS / 8.0
            d = widest if spare(widest) < 0.0 else optimize.brentq(spare, 1e-7, widest, xtol=1e-12)
            excess += taken(d)
            heat += taken(d) * way
            carried = min(lift * wall(d) * d**3, most)
            held = carried * STREAM_SHARE * wall(d)
            source[j] += max(excess - held, 0.0) * way
            excess = min(excess, held)
            flow[j + 1 if way > 0 else j] = carried * way
            largest, thickest = max(largest, carried), max(thickest, d)
            met += 1
            last = j
        if last is not None:
            source[last] += excess * way
            flow[last + 1 if way > 0 else last] = 0.0

    left, gained = seconds, 0.0
    while left > 0.0:
        source[:], flow[:] = [0.0] * LAYERS, [0.0] * (LAYERS + 1)
        heat, largest, thickest, met = 0.0, 0.0, 0.0, 0
        follow(range(LAYERS), 1)
        if met < LAYERS:
            follow(range(LAYERS - 1, -1, -1), -1)
        piece = left if largest * left <= courant else courant / largest
        scale = piece / capacity
        through = [0.0] * (LAYERS + 1)
        for j in range(1, LAYERS):
            up = -flow[j]
            behind = layers[j - 1] - layers[j - 2] if j >= 2 else 0.0
            before = layers[j + 1] - layers[j] if j + 1 < LAYERS else 0.0
            across = layers[j] - layers[j - 1]
            nearer = behind if up > 0.0 else before
            sharp = max(SHARP - SHARP_PER_FILM * thickest / RADIUS, 0.0)
            slope = limited(nearer, across, sharp)
            if up > 0.0:
                through[j] = up * (layers[j - 1] + (1.0 - up * scale) * slope)
            else:
                through[j] = up * (layers[j] - (1.0 + up * scale) * slope)
        layers[:] = [
            t + scale * (through[j] - through[j + 1] - (flow[j + 1] - flow[j]) * t + source[j])
            for j, t in enumerate(layers)
        ]
        gained += heat * piece
        left -= piece
    after = conducted(layers, drum=drum, air_c=air_c, floor_c=floor_c, seconds=seconds, mean=mean)
    top, bottom = end_films(
        layers, drum=drum, air_c=air_c, floor_c=floor_c, height=height, mean=mean
    )
    ends = top * (air_c - after[-1]) + bottom * (floor_c - after[0])
    allowed = np.arange(LAYERS) * held_k(drum, height=height, mean=mean)
    stable = optimize.isotonic_regression(after + allowed).x - allowed
    return stable, gained + seconds * CROSS_SECTION_M2 * ends


def held_k(drum, *, height, mean):
    """How much colder a layer may be than the one below it before they turn over, K."""
    rho, c, k = drum["density_kg_m3"], drum["specific_heat_j_kgk"], drum["conductivity_w_mk"]
    nu = np.interp(mean, NODES_C, liquid(**drum).tables[0, Row.VISCOSITY]) / rho
    slab = TURNING_LAYERS * height / LAYERS
    held = CRITICAL_RAYLEIGH * nu * k / (rho * c) / (GRAVITY * drum["expansion_1_k"] * slab**3)
    return min(held, 100.0)


def limited(one, other, sharp):
    """Half the slope in a layer: so many harmonic means, not steeper than either side."""
    if one * other <= 0.0:
        return 0.0
    return math.copysign(
        min(sharp * one * other / (one + other) * np.sign(one), abs(one), abs(other)), one
    )


def end_films(core, *, drum, air_c, floor_c, height, mean):
    """Films of top and bottom with the liquid's own: part of a layer at rest, else turning over."""
    half = 0.5 * height / LAYERS / drum["conductivity_w_mk"]
    rho, c, k = drum["density_kg_m3"], drum["specific_heat_j_kgk"], drum["conductivity_w_mk"]
    mu = np.interp(mean, NODES_C, liquid(**drum).tables[0, Row.VISCOSITY])
    buoyancy = GRAVITY * drum["expansion_1_k"] / (mu / rho * k / (rho * c))

    def turned(outside, difference):
        inside = 20.0
        for _ in range(3):
            face = difference * outside / (outside + inside) if outside else 0.0
            inside = max(C_TURNING * k * np.cbrt(buoyancy * face), 25.0 * k / height)
        return outside * inside / (outside + inside)

    held = held_k(drum, height=height, mean=mean)
    top, bottom = drum["top_w_m2k"], drum["bottom_w_m2k"]
    return (
        top / (1.0 + top * STILL_TOP * half)
        if air_c > core[-1] - held
        else turned(top, core[-1] - air_c),
        bottom / (1.0 + bottom * STILL_BOTTOM * half)
        if floor_c < core[0] + held
        else turned(bottom, floor_c - core[0]),
    )


def conducted(core, *, drum, air_c, floor_c, seconds, mean):
    """Layers after an implicit step of conduction and end losses, by scipy's banded solver."""
    one = liquid(**drum)
    height = float(depth(one, mean_c=mean)[0])
    scale = seconds / (float(heat_capacity(one, mean_c=mean)[0]) / LAYERS) * CROSS_SECTION_M2
    between = drum["conductivity_w_mk"] / (height / LAYERS) * scale
    top, bottom = (
        film * scale
        for film in end_films(
            core, drum=drum, air_c=air_c, floor_c=floor_c, height=height, mean=mean
        )
    )
    bands = np.zeros((3, LAYERS))
    bands[0, 1:] = bands[2, :-1] = -between
    bands[1] = 1.0 + 2.0 * between
    bands[1, 0] += bottom - between
    bands[1, -1] += top - between
    right = np.array(core)
    right[0] += bottom * floor_c
    right[-1] += top * air_c
    return linalg.solve_banded((1, 1), bands, right)


@settings(max_examples=40)
@given(drum=drums, start=stable_stacks, air_c=temperatures, floor_c=temperatures)
def test_the_heat_gained_is_what_came_through_side_and_ends(drum, start, air_c, floor_c):
    _, heat = written_step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=300.0)
    ours = step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=300.0)
    capacity = float(heat_capacity(liquid(**drum), mean_c=float(np.mean(start)))[0])

    # the film is found to 0.1 %, its heat to less
    assert (ours.mean() - np.mean(start)) * capacity == pytest.approx(heat, rel=2e-3, abs=1.0)


@settings(max_examples=40)
@given(drum=drums, start=stable_stacks, air_c=temperatures, floor_c=temperatures)
def test_a_step_is_that_of_the_written_equations(drum, start, air_c, floor_c):
    expected, _ = written_step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=300.0)

    ours = step(start, drum=drum, air_c=air_c, floor_c=floor_c, seconds=300.0)
    assert ours == pytest.approx(expected, abs=0.02)


@given(drum=drums, start=stable_stacks, watts=st.floats(0.0, 1500.0))
def test_a_heater_warms_the_liquid_by_its_energy(drum, start, watts):
    mean = float(np.mean(start))
    lossless = drum | {"side_w_m2k": 0.0, "top_w_m2k": 0.0, "bottom_w_m2k": 0.0}
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
def test_the_liquid_is_never_left_colder_above_by_more_than_it_holds(drum, start, air_c, seconds):
    mean = float(np.mean(start))
    height = float(depth(liquid(**drum), mean_c=mean)[0])
    after = step(start, drum=drum, air_c=air_c, seconds=seconds)

    assert (np.diff(after) >= -held_k(drum, height=height, mean=mean) - 1e-9).all()


@given(drum=drums, start_c=temperatures, air_c=temperatures)
def test_the_mean_goes_to_the_air_and_never_back_or_past_it(drum, start_c, air_c):
    stack = [start_c] * LAYERS
    means = [start_c]
    for _ in range(100):
        stack = step(stack, drum=drum, air_c=air_c, seconds=900.0)
        means.append(float(stack.mean()))
    distance = np.abs(np.array(means) - air_c)

    assert (np.diff(distance) <= 1e-9).all()
    assert ((np.array(means) - air_c) * (start_c - air_c) >= -1e-6).all()  # K²: rounding
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
