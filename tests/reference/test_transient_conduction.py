"""Lumped and one-term transients against textbook tables and worked examples.

Incropera et al., Fundamentals of Heat and Mass Transfer: table 5.1 and example 5.1. Ozisik, Heat
Transfer: example 4.1. The roots are also held against scipy's own Bessel functions and solver.
"""

import math

import numpy as np
import pytest
from scipy import optimize, special

from tests.builders.one_node import temperature_after, time_constant, time_to_reach
from tests.builders.one_term import bessel_j, long_cylinder, plane_wall

# Incropera et al., table 5.1: Bi; root and coefficient of the wall; of the cylinder.
TABLE_5_1 = (
    (0.01, 0.0998, 1.0017, 0.1412, 1.0025),
    (0.02, 0.1410, 1.0033, 0.1995, 1.0050),
    (0.05, 0.2218, 1.0082, 0.3143, 1.0124),
    (0.1, 0.3111, 1.0161, 0.4417, 1.0246),
    (0.15, 0.3779, 1.0237, 0.5376, 1.0365),
    (0.2, 0.4328, 1.0311, 0.6170, 1.0483),
    (0.3, 0.5218, 1.0450, 0.7465, 1.0712),
    (0.4, 0.5932, 1.0580, 0.8516, 1.0931),
    (0.5, 0.6533, 1.0701, 0.9408, 1.1143),
    (0.6, 0.7051, 1.0814, 1.0184, 1.1345),
    (0.7, 0.7506, 1.0918, 1.0873, 1.1539),
    (0.8, 0.7910, 1.1016, 1.1490, 1.1724),
    (0.9, 0.8274, 1.1107, 1.2048, 1.1902),
    (1.0, 0.8603, 1.1191, 1.2558, 1.2071),
    (2.0, 1.0769, 1.1785, 1.5994, 1.3384),
    (3.0, 1.1925, 1.2102, 1.7887, 1.4191),
    (4.0, 1.2646, 1.2287, 1.9081, 1.4698),
    (5.0, 1.3138, 1.2402, 1.9898, 1.5029),
    (6.0, 1.3496, 1.2479, 2.0490, 1.5253),
    (8.0, 1.3978, 1.2570, 2.1286, 1.5526),
    (10.0, 1.4289, 1.2620, 2.1795, 1.5677),
    (20.0, 1.4961, 1.2699, 2.2880, 1.5919),
    (30.0, 1.5202, 1.2717, 2.3261, 1.5973),
    (50.0, 1.5400, 1.2727, 2.3572, 1.6002),
    (100.0, 1.5552, 1.2731, 2.3809, 1.6015),
    (math.inf, 1.5708, 1.2732, 2.4048, 1.6020),
)


@pytest.mark.parametrize("row", TABLE_5_1, ids=lambda row: f"Bi {row[0]:g}")
def test_one_term_coefficients_match_incropera_table_5_1_to_its_last_digit(row):
    biot, wall_root, wall_coefficient, cylinder_root, cylinder_coefficient = row
    wall, cylinder = plane_wall(biot=biot), long_cylinder(biot=biot)

    assert wall.root == pytest.approx(wall_root, abs=1e-4)
    assert wall.coefficient == pytest.approx(wall_coefficient, abs=1e-4)
    assert cylinder.root == pytest.approx(cylinder_root, abs=1e-4)
    assert cylinder.coefficient == pytest.approx(cylinder_coefficient, abs=1e-4)


@pytest.mark.parametrize("biot", np.geomspace(1e-4, 1e4, 17))
def test_the_roots_are_those_that_scipy_finds(biot):
    wall = optimize.brentq(
        lambda z: z * math.sin(z) - biot * math.cos(z), 0.0, 0.5 * math.pi, xtol=1e-14
    )
    cylinder = optimize.brentq(
        lambda z: z * special.j1(z) - biot * special.j0(z), 0.0, special.jn_zeros(0, 1)[0]
    )

    assert plane_wall(biot=biot).root == pytest.approx(wall, rel=1e-10)
    assert long_cylinder(biot=biot).root == pytest.approx(cylinder, rel=1e-10)


@pytest.mark.parametrize("order", [0, 1])
def test_bessel_functions_are_scipys(order):
    x = np.linspace(0.0, 10.0, 101)

    assert [bessel_j(order, value) for value in x] == pytest.approx(special.jv(order, x), abs=1e-14)


def sphere_time_constant(*, h: float, density: float, specific_heat: float, diameter: float):
    return time_constant(
        heat_capacity_j_k=density * specific_heat * math.pi * diameter**3 / 6.0,
        conductance_w_k=h * math.pi * diameter**2,
    )


def test_a_thermocouple_junction_responds_as_in_incropera_example_5_1():
    # h 400 W/m²K, rho 8500 kg/m³, c 400 J/kgK, time constant 1 s: D = 7.06e-4 m, and from 25 °C
    # in gas at 200 °C it shows 199 °C after 5.2 s (5.16 before the book rounds).
    tau = sphere_time_constant(h=400.0, density=8500.0, specific_heat=400.0, diameter=7.06e-4)
    seconds = time_to_reach(start_c=25.0, air_c=200.0, target_c=199.0, time_constant_s=1.0)

    assert tau == pytest.approx(1.0, rel=1e-3)
    assert seconds == pytest.approx(5.16, abs=0.01)


def test_a_thermocouple_junction_responds_as_in_ozisik_example_4_1():
    # D 1 mm, rho 8500, c 320, h 210: 0.4632 1/s, 99 % of the step after 9.94 s (printed as 10).
    tau = sphere_time_constant(h=210.0, density=8500.0, specific_heat=320.0, diameter=1e-3)
    seconds = time_to_reach(start_c=0.0, air_c=100.0, target_c=99.0, time_constant_s=tau)

    assert 1.0 / tau == pytest.approx(0.4632, abs=1e-4)
    assert seconds == pytest.approx(9.94, abs=0.01)


def test_a_lumped_body_comes_back_to_where_the_time_was_asked_for():
    after = temperature_after(start_c=25.0, air_c=200.0, seconds=5.16, time_constant_s=1.0)

    # closed form: 200 − 175 exp(−5.16)
    assert after == pytest.approx(200.0 - 175.0 * math.exp(-5.16), rel=1e-12)


@pytest.mark.parametrize("target_c", [-1.0, 20.0, 20.1])
def test_a_lumped_body_never_reaches_what_lies_outside_start_and_air(target_c):
    assert time_to_reach(start_c=0.0, air_c=20.0, target_c=target_c, time_constant_s=1.0) is None


def test_a_lumped_body_is_at_its_start_at_once():
    assert time_to_reach(start_c=4.0, air_c=4.0, target_c=4.0, time_constant_s=1.0) == 0.0
