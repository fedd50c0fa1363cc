"""The fine-grid solver (``fine_grid/README.md``) against closed forms and others' figures.

Compiling its loops takes a quarter of a minute the first time.
"""

import math

import numpy as np
import pytest
from scipy import optimize, special

from tests.reference.fine_grid.cases import Case, calibration, check, given
from tests.reference.fine_grid.convection import COLUMNS, Films, Liquid, Steps, passes, run
from tests.reference.fine_grid.grid import LAYERS, Floats, stretched
from tests.reference.fine_grid.produce import made
from tests.reference.fine_grid.stokes import stokes, stream
from tests.reference.fine_grid.transport import cells_of, conduct_r, conduct_z

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]

ISO = Liquid(
    density_kg_m3=1230.0,
    specific_heat_j_kgk=1800.0,
    conductivity_w_mk=0.14,
    expansion_1_k=7e-4,
    kinematic_viscosity_m2_s=2e-4,
)
SOLID = Liquid(
    density_kg_m3=1230.0,
    specific_heat_j_kgk=1800.0,
    conductivity_w_mk=0.14,
    expansion_1_k=0.0,
    kinematic_viscosity_m2_s=2e-4,
)
SHOP = Films(side_w_m2k=8.0, top_w_m2k=2.8, bottom_w_m2k=3.0)
RADIUS_M, DEPTH_M = 0.286, 0.8
COARSE = stretched(radius_m=RADIUS_M, depth_m=DEPTH_M, rings=28, slices=36)
MEAN, MIN, MAX = (COLUMNS.index(name) for name in ("mean", "min", "max"))
LAYERS_AT = slice(len(COLUMNS) - LAYERS, None)


def mean_and_layers(rows: Floats) -> Floats:
    return np.column_stack([rows[:, MEAN], rows[:, LAYERS_AT]])


def known_flow_error(rings: int, slices: int) -> float:
    """Largest error of psi for a flow that is known, as a share of its largest psi.

    psi = p(r) q(z) with p = r2 (1-r2)2 and q = 3z2 - 5z3 + 2z4 sticks at r = 1 and z = 0 and slips
    freely at z = 1. As E2 r^n = n (n-2) r^(n-2), E2 E2 psi = 192 r2 q + 2 (24 r4 - 16 r2) q" +
    p q"". That is -r dT/dr, so its integral over dr/r is what drives the flow, less its sign.
    """
    grid = stretched(radius_m=1.0, depth_m=1.0, rings=rings, slices=slices)

    def q(z: Floats) -> Floats:
        return 3.0 * z**2 - 5.0 * z**3 + 2.0 * z**4

    r, z = grid.ring_r_m[:, None], grid.slice_z_m[None]
    driving = (
        96.0 * r**2 * q(z)
        + 2.0 * (6.0 * r**4 - 8.0 * r**2) * (6.0 - 30.0 * z + 24.0 * z**2)
        + 48.0 * (r**2 / 2.0 - r**4 / 2.0 + r**6 / 6.0)
    )
    psi = np.zeros((rings + 1, slices + 1))
    stream(stokes(grid), -driving, 1.0, psi)
    exact = np.outer(grid.r_m**2 * (1.0 - grid.r_m**2) ** 2, q(grid.z_m))
    return float(np.abs(psi - exact).max() / np.abs(exact).max())


def test_a_flow_that_is_known_exactly_is_found_to_second_order():
    coarse, fine = known_flow_error(28, 36), known_flow_error(56, 72)

    assert fine < 0.002
    assert coarse / fine == pytest.approx(4.0, abs=0.6)


def growth(rayleigh: float) -> float:
    """Rate at which a small disturbance of a wide pan heated from below grows, in H2/alpha.

    Free surface on top, both ends at their own temperature, the side insulated; radius 10 depths.
    """
    grid = stretched(radius_m=10.0, depth_m=1.0, rings=120, slices=32)
    cells, flow = cells_of(grid, diffusivity_m2_s=1.0), stokes(grid)
    held = (0.0, 2.0 / float(grid.slice_m[-1]), 2.0 / float(grid.slice_m[0]))
    t = np.outer(np.cos(2.68 * grid.ring_r_m), np.sin(np.pi * grid.slice_z_m))
    psi = np.zeros((121, 33))
    dt, size = 0.002, [1.0]
    for _ in range(1000):
        stream(flow, t, rayleigh, psi)
        through = psi[1:] - psi[:-1]
        t += dt * (through[:, 1:] + through[:, :-1]) / (2.0 * grid.ring_m2[:, None])
        conduct_r(cells, t, dt, held, 0.0)
        conduct_z(cells, t, dt, held, 0.0)
        size.append(float(np.linalg.norm(t)))
    return math.log(size[-1] / size[-201]) / (200 * dt)


def test_a_layer_heated_from_below_begins_to_turn_at_chandrasekhars_rayleigh_number():
    # Chandrasekhar, Hydrodynamic and Hydromagnetic Stability (1961), chapter II, one rigid and one
    # free boundary: 1100.65 in an endless layer. A side ten depths away delays it a little.
    critical = optimize.brentq(growth, 1000.0, 1250.0, xtol=1.0)

    assert 1100.0 < critical < 1100.65 * 1.02


def short_cylinder(hours: float, *, side_w_m2k: float, ends_w_m2k: float) -> Floats:
    """Mean and eight layers of a solid cylinder, share of the first difference that is left.

    Product of long cylinder and plane wall (Carslaw and Jaeger, Conduction of Heat in Solids,
    sections 7.7, 3.11 and 1.15), 60 terms each.
    """
    seconds, half_m = hours * 3600.0, DEPTH_M / 2.0
    alpha = SOLID.conductivity_w_mk / SOLID.heat_j_m3k
    biot = side_w_m2k * RADIUS_M / SOLID.conductivity_w_mk
    zeros = [0.0, *special.jn_zeros(0, 60)]
    # between a zero of J1 (or 0) and the next zero of J0 lies one root of x J1 = Bi J0
    lows = [1e-9, *special.jn_zeros(1, 59)]
    roots = [
        optimize.brentq(lambda x: x * special.j1(x) - biot * special.j0(x), low, high)
        for low, high in zip(lows, zeros[1:], strict=True)
    ]
    x = np.array(roots)
    ring = float(
        np.sum(
            4.0
            * biot**2
            / (x**2 * (x**2 + biot**2))
            * np.exp(-(x**2) * alpha * seconds / RADIUS_M**2)
        )
    )
    biot = ends_w_m2k * half_m / SOLID.conductivity_w_mk
    y = np.array(
        [
            optimize.brentq(
                lambda v: v * math.sin(v) - biot * math.cos(v),
                n * math.pi + 1e-9,
                n * math.pi + math.pi / 2.0,
            )
            for n in range(60)
        ]
    )
    amplitude = 4.0 * np.sin(y) / (2.0 * y + np.sin(2.0 * y))
    left = amplitude * np.exp(-(y**2) * alpha * seconds / half_m**2)
    borders = np.linspace(-1.0, 1.0, LAYERS + 1)
    integral = np.sin(np.outer(borders, y)) / y
    layers = np.diff(integral, axis=0) @ left * LAYERS / 2.0
    return ring * np.array([layers.mean(), *layers])


def test_a_liquid_that_cannot_move_conducts_as_the_exact_series_of_a_short_cylinder():
    films = Films(side_w_m2k=8.0, top_w_m2k=5.0, bottom_w_m2k=5.0)
    course = run(
        stretched(radius_m=RADIUS_M, depth_m=DEPTH_M, rings=56, slices=72),
        SOLID,
        films,
        start_c=[4.0] * LAYERS,
        air=[(0.0, 27.0)],
        hours=[2.0, 12.0, 48.0],
        steps=Steps(longest_s=10.0),
    )

    for row in course.rows[1:]:
        exact = 27.0 - 23.0 * short_cylinder(row[0], side_w_m2k=8.0, ends_w_m2k=5.0)
        assert mean_and_layers(row[None])[0] == pytest.approx(exact, abs=0.01)


def test_all_heat_that_came_in_is_in_the_liquid_and_no_cell_leaves_the_range_of_air_and_start():
    course = run(
        COARSE,
        ISO,
        SHOP,
        start_c=[8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0],
        air=[(0.0, -7.0), (1.0, -7.0), (1.1, 27.0)],
        hours=[1.0, 2.0],
    )

    assert abs(course.imbalance_k) < 1e-9
    assert course.rows[:, MIN].min() >= -7.0
    assert course.rows[:, MAX].max() <= 27.0
    assert course.rows[1, MEAN] < course.rows[0, MEAN] < 15.0


def test_insulated_and_even_liquid_stays_as_it_is():
    films = Films(side_w_m2k=0.0, top_w_m2k=0.0, bottom_w_m2k=0.0)
    course = run(COARSE, ISO, films, start_c=[20.0] * LAYERS, air=[(0.0, 0.0)], hours=[1.0])

    assert course.cells_c == pytest.approx(20.0, abs=1e-9)
    assert passes(COARSE, ISO, films) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("case", given(), ids=lambda case: case.name)
def test_the_first_two_hours_of_a_given_curve_come_out_on_a_coarse_grid(case: Case):
    # 28 x 36 cells against the 56 x 72 of the curve: README.md has the differences of whole runs.
    course = made(case, rings=28, slices=36, hours=2.0)
    curve = np.column_stack([case.curves["mean"], case.layers_c])[: len(course.rows)]

    assert mean_and_layers(course.rows)[:, 0] == pytest.approx(curve[:, 0], abs=0.03)
    assert mean_and_layers(course.rows) == pytest.approx(curve, abs=0.15)


def test_half_the_step_gives_the_same_course():
    (case,) = [case for case in given() if case.name == "iso_cool_truck"]
    whole = made(case, rings=28, slices=36, hours=2.0)
    half = made(
        case,
        rings=28,
        slices=36,
        hours=2.0,
        steps=Steps(courant=0.25, stiffness=0.5, longest_s=1.0),
    )

    assert half.steps > 1.8 * whole.steps
    assert mean_and_layers(half.rows) == pytest.approx(mean_and_layers(whole.rows), abs=0.03)


@pytest.mark.parametrize("name", ["iso_warmed_1", "resin_day_night_2"])
def test_regression_the_solver_still_gives_the_kept_curves(name: str):
    (case,) = [case for case in [*calibration(), *check()] if case.name == name]
    course = made(case, hours=2.0)
    kept = np.column_stack([case.curves["mean"], case.layers_c])[: len(course.rows)]

    assert mean_and_layers(course.rows) == pytest.approx(kept, abs=0.01)


@pytest.mark.parametrize("case", [*calibration(), *check()], ids=lambda case: case.name)
def test_each_kept_curve_is_whole_and_holds_together(case: Case):
    curves = case.curves
    air = np.array(case.air)
    lowest = min(air[:, 1].min(), *case.start_c)
    highest = max(air[:, 1].max(), *case.start_c)

    assert tuple(curves) == COLUMNS
    assert curves["h"] == pytest.approx(np.arange(0.0, case.hours + 0.25, 0.5))
    assert curves["air"] == pytest.approx(np.interp(curves["h"], *air.T), abs=6e-4)
    # layers of a profile that is straight inside each cell: a staircase comes out a little rounded
    assert case.layers_c[0] == pytest.approx(case.start_c, abs=0.05)
    assert case.layers_c.mean(axis=1) == pytest.approx(curves["mean"], abs=2e-3)
    assert lowest - 1e-3 <= curves["min"].min() <= curves["max"].max() <= highest + 1e-3


def test_the_two_sets_have_no_run_in_common_and_span_what_a_drum_meets():
    fitted, unseen = calibration(), check()

    assert (len(fitted), len(unseen)) == (39, 26)
    assert not {case.name for case in fitted} & {case.name for case in unseen}
    parameters = [
        (case.depth_m, case.kinematic_viscosity_m2_s, case.side_w_m2k, case.air[-1])
        for case in [*fitted, *unseen]
    ]
    assert len(set(parameters)) == len(parameters)
    for cases in (fitted, unseen):
        depths, viscosities, films = (
            np.array([getattr(case, name) for case in cases])
            for name in ("depth_m", "kinematic_viscosity_m2_s", "side_w_m2k")
        )
        assert (depths.min() < 0.3, depths.max() > 0.7) == (True, True)
        assert (viscosities.min() < 1e-4, viscosities.max() > 2e-3) == (True, True)
        assert (films.min() < 4.0, films.max() > 20.0) == (True, True)
        assert {case.side for case in cases} == {"iso", "resin"}
