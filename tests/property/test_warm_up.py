"""Any drum's mean lies between two exact answers: well stirred, and solid right through.

The solid is the finite cylinder's series, the product of a plane wall's and a long cylinder's
(Incropera et al., sections 5.5-5.8), summed here with scipy's roots and Bessel functions.
"""

import itertools
import math
from functools import cache

import numpy as np
import pytest
from scipy import optimize, special

from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.march import march
from drumkeep.thermal.parameter_sets import SETS
from drumkeep.thermal.stratified import LAYERS
from tests.builders.liquid import liquid
from tests.builders.one_term import long_cylinder, plane_wall

RADIUS_M = 0.286
TERMS = 60
HOURS = np.arange(96 * 4 + 1) / 4.0


def wall_mean(fourier, *, biot):
    """Mean excess of a plane wall over the air, as a share of the first, at Fourier numbers."""
    total = np.zeros_like(fourier)
    for n in range(TERMS):
        z = optimize.brentq(
            lambda z: z * math.sin(z) - biot * math.cos(z), n * math.pi, (n + 0.5) * math.pi
        )
        share = 4.0 * math.sin(z) / (2.0 * z + math.sin(2.0 * z)) * math.sin(z) / z
        total += share * np.exp(-(z**2) * fourier)
    return total


def cylinder_mean(fourier, *, biot):
    """Mean excess of a long cylinder over the air, as a share of the first."""
    highest = special.jn_zeros(0, TERMS)
    lowest = np.concatenate([[0.0], special.jn_zeros(1, TERMS - 1)])
    total = np.zeros_like(fourier)
    for low, high in zip(lowest, highest, strict=True):
        z = optimize.brentq(lambda z: z * special.j1(z) - biot * special.j0(z), low, high)
        j0, j1 = special.j0(z), special.j1(z)
        total += (2.0 / z) * j1 / (j0**2 + j1**2) * 2.0 * j1 / z * np.exp(-(z**2) * fourier)
    return total


def solid_mean(hours, *, k, density, specific_heat, height_m, side, end, radius_m=RADIUS_M):
    """Mean excess of a solid drum, as a share of the first."""
    seconds = np.asarray(hours) * 3600.0
    alpha = k / (density * specific_heat)
    half = height_m / 2.0
    return wall_mean(alpha * seconds / half**2, biot=end * half / k) * cylinder_mean(
        alpha * seconds / radius_m**2, biot=side * radius_m / k
    )


def stirred_mean(hours, *, density, specific_heat, height_m, side, end):
    """Mean excess of a well stirred drum, as a share of the first."""
    area = math.pi * RADIUS_M**2
    conductance = side * 2.0 * math.pi * RADIUS_M * height_m + 2.0 * end * area
    capacity = density * area * height_m * specific_heat
    return np.exp(-conductance / capacity * 3600.0 * np.asarray(hours))


def test_the_series_of_this_test_gives_the_published_solid_drum():
    # Iso as a solid, R 0.2858 m, H 0.80 m, 8.29 W/m²K all round, 5 °C into 25 °C: mean after 12,
    # 24, 48, 72, 96 and 168 h (computed independently from the exact series), slow mode 62.8 h.
    k, density, specific_heat = 0.1255, 1230.0, 1800.0
    hours = np.array([12.0, 24.0, 48.0, 72.0, 96.0, 168.0])
    excess = solid_mean(
        hours,
        k=k,
        density=density,
        specific_heat=specific_heat,
        height_m=0.80,
        side=8.29,
        end=8.29,
        radius_m=0.2858,
    )
    wall, cylinder = plane_wall(biot=8.29 * 0.40 / k), long_cylinder(biot=8.29 * 0.2858 / k)
    alpha = k / (density * specific_heat)
    slowest = alpha * ((wall.root / 0.40) ** 2 + (cylinder.root / 0.2858) ** 2)

    assert 25.0 - 20.0 * excess == pytest.approx([12.3, 15.3, 18.79, 20.9, 22.2, 24.1], abs=0.06)
    assert wall.root == pytest.approx(1.5136, abs=1e-4)
    assert cylinder.root == pytest.approx(2.2814, abs=1e-4)
    assert 1.0 / slowest / 3600.0 == pytest.approx(62.8, rel=0.005)


# Side, share of the usual fill, films of side and of ends, start, air less start.
GRID = list(
    itertools.product(
        Side,
        (0.1, 0.25, 0.5, 1.0),
        (4.0, 8.0, 15.0, 25.0),
        (1.0, 3.0, 5.0),
        (-5.0, 10.0, 25.0),
        (-35.0, -10.0, 10.0, 35.0),
    )
)


@pytest.fixture(scope="module")
def excess():
    """What is left of every drum's difference by the quarter hour, shape (time, drum)."""
    own = [default_product(side_of).properties for side_of, *_ in GRID]
    fill, side, end, start_c, difference_k = (
        np.array(column, dtype=np.float64) for column in list(zip(*GRID, strict=True))[1:]
    )
    drums = liquid(
        len(GRID),
        mass_kg=fill * np.array([o.net_kg for o in own]),
        density_kg_m3=np.array([o.density_kg_m3 for o in own]),
        specific_heat_j_kgk=np.array([o.specific_heat_j_kgk for o in own]),
        conductivity_w_mk=np.array([o.conductivity_w_mk for o in own]),
        expansion_1_k=np.array([o.expansion_1_k for o in own]),
        viscosity_25c_pas=np.array([o.viscosity_mpas_25c * 1e-3 for o in own]),
        viscosity_slope_k=np.array([o.viscosity_slope_k for o in own]),
        side_w_m2k=side,
        top_w_m2k=end,
        bottom_w_m2k=end,
        steel_kg=0.0,
    )
    air_c = start_c + difference_k
    course = march(
        np.broadcast_to(start_c[:, None], (SETS, len(GRID), LAYERS)),
        liquid=drums,
        air_c=np.broadcast_to(air_c, (len(HOURS), 1, len(GRID))),
        drive_k=np.zeros(len(GRID)),
        step_s=900.0,
    )
    return (air_c - course.band.mean) / difference_k


@cache
def bounds(side_of, fill, side, end):
    """What is left of the difference by the quarter hour, stirred and solid."""
    own = default_product(side_of).properties
    drum = {
        "density": own.density_kg_m3,
        "specific_heat": own.specific_heat_j_kgk,
        "height_m": fill * own.net_kg / (own.density_kg_m3 * math.pi * RADIUS_M**2),
        "side": side,
        "end": end,
    }
    return stirred_mean(HOURS, **drum), solid_mean(HOURS, k=own.conductivity_w_mk, **drum)


def first_hour(excess, left):
    """Hour at which so much of the difference is left; infinite where it is not in four days."""
    return float(np.interp(left, excess[::-1], HOURS[::-1])) if excess[-1] <= left else math.inf


@pytest.mark.parametrize("left", [0.5, 0.25, 0.1])
def test_warming_up_takes_longer_than_stirred_and_less_than_solid(excess, left):
    out_of_bounds = []
    for row, (*drum, start_c, difference_k) in enumerate(GRID):
        stirred, solid = bounds(*drum)
        hours = [first_hour(course, left) for course in (stirred, excess[:, row], solid)]
        at_least, ours, at_most = hours
        # a hundredth for layers of a finite height, which gel shows
        if not at_least <= ours <= at_most * 1.01:
            out_of_bounds.append((*drum, start_c, difference_k, hours))

    assert out_of_bounds == []
