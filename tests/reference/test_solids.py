"""A drum of solids against the exact series and worked examples.

Short cylinders of Incropera et al. (the quench of section 5.6's examples) and Cengel (brass); the
books read charts, the values here are the exact series of the same cases, computed independently.
The series itself is in ``tests/builders/solid_series.py``.
"""

from dataclasses import replace

import numpy as np
import pytest

from drumkeep.thermal.solids import Cylinder, Faces, cell_middles, march_solid
from drumkeep.thermal.stratified import EIGHTHS, eighths
from tests.builders.one_term import long_cylinder, plane_wall
from tests.builders.solid_series import cylinder_at, cylinder_mean, wall_at, wall_layers

WITHIN_K = 0.05

DRUM = Cylinder(
    radius_m=0.286,
    height_m=0.80,
    conductivity_w_mk=0.1255,
    capacity_j_m3k=1230.0 * 1800.0,
    side_w_m2k=8.29,
    top_w_m2k=8.29,
    bottom_w_m2k=8.29,
)


def steady(air_c, *, steps):
    air = np.full(steps + 1, air_c)
    return Faces(side_c=air, top_c=air, bottom_c=air)


def marched(solid, *, start_c, air_c, hours, step_s=300.0):
    steps = round(hours * 3600.0 / step_s)
    layers, field = march_solid(
        solid, start_c=np.full(EIGHTHS, start_c), faces=steady(air_c, steps=steps), step_s=step_s
    )
    return eighths(layers), field


def numbers(solid, *, seconds):
    """Fourier and Biot numbers of the wall and of the cylinder."""
    alpha = solid.conductivity_w_mk / solid.capacity_j_m3k
    half, radius = solid.height_m / 2.0, solid.radius_m
    return (
        {
            "fourier": alpha * seconds / half**2,
            "biot": solid.top_w_m2k * half / solid.conductivity_w_mk,
        },
        {
            "fourier": alpha * seconds / radius**2,
            "biot": solid.side_w_m2k * radius / solid.conductivity_w_mk,
        },
    )


def face_c(inner_c, *, air_c, film, gap_m, conductivity):
    """Temperature of a face from that of the cell behind it."""
    conductance = conductivity / gap_m
    return (conductance * inner_c + film * air_c) / (conductance + film)


@pytest.mark.parametrize("hours", [0.25, 0.5, 1.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0])
@pytest.mark.parametrize("film", [3.0, 8.29, 25.0])
@pytest.mark.parametrize("height_m", [0.2, 0.8])
def test_eight_layers_of_a_solid_drum_are_the_exact_series(hours, film, height_m):
    # a step of 40 K, the largest between a drum and its air in these tests
    solid = replace(DRUM, height_m=height_m, side_w_m2k=film, top_w_m2k=film, bottom_w_m2k=film)
    layers, _ = marched(solid, start_c=-15.0, air_c=25.0, hours=hours)
    wall, cylinder = numbers(solid, seconds=hours * 3600.0)
    expected = 25.0 - 40.0 * wall_layers(8, **wall) * cylinder_mean(**cylinder)

    assert layers[-1] == pytest.approx(expected, abs=WITHIN_K)


@pytest.mark.parametrize("hours", [1.0, 6.0, 24.0, 72.0])
def test_every_cell_of_a_solid_drum_is_the_exact_series(hours):
    _, field = marched(DRUM, start_c=5.0, air_c=25.0, hours=hours)
    heights, radii = cell_middles(DRUM)
    wall, cylinder = numbers(DRUM, seconds=hours * 3600.0)
    up = wall_at(heights / 0.40 - 1.0, **wall)
    across = cylinder_at(radii / 0.286, **cylinder)

    assert field == pytest.approx(25.0 - 20.0 * np.outer(up, across), abs=WITHIN_K)


def test_a_solid_drum_at_48_h_has_the_published_mean_and_centre():
    # R 0.2858, H 0.80, iso as a solid, 8.29 W/m²K, 5 °C into 25 °C: mean 18.79, centre 8.81 °C;
    # Bi 18.88 and 26.42, roots 2.2814 and 1.5136 (computed independently from the exact series)
    solid = replace(DRUM, radius_m=0.2858)
    layers, field = marched(solid, start_c=5.0, air_c=25.0, hours=48.0)
    wall, cylinder = numbers(solid, seconds=1.0)
    middle = field[len(field) // 2 - 1 : len(field) // 2 + 1, 0].mean()

    assert layers[-1].mean() == pytest.approx(18.79, abs=WITHIN_K)
    assert middle == pytest.approx(8.81, abs=WITHIN_K)
    assert (cylinder["biot"], wall["biot"]) == pytest.approx((18.88, 26.42), abs=0.01)
    assert long_cylinder(biot=cylinder["biot"]).root == pytest.approx(2.2814, abs=1e-4)
    assert plane_wall(biot=wall["biot"]).root == pytest.approx(1.5136, abs=1e-4)


def test_a_solid_drums_slowest_mode_is_62_8_hours():
    # the same drum: late, all of it closes in on the air by e in 62.8 h (within 0.5 %)
    layers, _ = marched(replace(DRUM, radius_m=0.2858), start_c=5.0, air_c=25.0, hours=400.0)
    late = 25.0 - layers[:, 3]
    hours = 100.0 / np.log(late[3600] / late[4800])

    assert hours == pytest.approx(62.8, rel=0.005)


def test_a_quenched_steel_cylinder_is_that_of_incropera():
    # AISI 304, k 17.4, rho 7900, c 526, 60 mm long, D 80 mm, h 500, 600 K in oil at 300 K, 3 min:
    # centre 402.75, middle of a face 370.54, middle of the side 362.43 K (the book's charts give
    # 405, 372, 365)
    steel = Cylinder(0.040, 0.060, 17.4, 7900.0 * 526.0, 500.0, 500.0, 500.0)
    _, field = marched(steel, start_c=600.0, air_c=300.0, hours=0.05, step_s=10.0)
    heights, radii = cell_middles(steel)
    half = len(field) // 2
    centre = field[half - 1 : half + 1, 0].mean()
    end = face_c(
        field[-1, 0], air_c=300.0, film=500.0, gap_m=0.060 - heights[-1], conductivity=17.4
    )
    side = face_c(
        field[half - 1 : half + 1, -1].mean(),
        air_c=300.0,
        film=500.0,
        gap_m=0.040 - radii[-1],
        conductivity=17.4,
    )

    assert (centre, end, side) == pytest.approx((402.75, 370.54, 362.43), abs=WITHIN_K)


def test_a_brass_cylinder_is_that_of_cengel():
    # D 10 cm, H 12 cm, k 110, alpha 3.39e-5, h 60, 120 °C in air at 25 °C, 900 s: centre 62.73,
    # middle of the top 62.12 °C (the book's charts give 63 and 62.2)
    brass = Cylinder(0.050, 0.120, 110.0, 110.0 / 3.39e-5, 60.0, 60.0, 60.0)
    _, field = marched(brass, start_c=120.0, air_c=25.0, hours=0.25, step_s=30.0)
    heights, _ = cell_middles(brass)
    half = len(field) // 2
    top = face_c(field[-1, 0], air_c=25.0, film=60.0, gap_m=0.120 - heights[-1], conductivity=110.0)

    assert field[half - 1 : half + 1, 0].mean() == pytest.approx(62.73, abs=WITHIN_K)
    assert top == pytest.approx(62.12, abs=WITHIN_K)


def test_a_solid_between_two_temperatures_ends_on_a_straight_line():
    # Fourier's law by hand: bottom faced with 0 °C, top with 40 °C, side shut off:
    # q = 40 / (1/5 + H/k + 1/10), and so the faces stand at q/5 and 40 − q/10
    solid = replace(DRUM, side_w_m2k=0.0, bottom_w_m2k=5.0, top_w_m2k=10.0)
    steps = 400
    held = np.zeros(steps + 1)
    layers, field = march_solid(
        solid,
        start_c=np.full(EIGHTHS, 11.0),
        faces=Faces(side_c=held + 99.0, top_c=held + 40.0, bottom_c=held),
        step_s=86_400.0,
    )
    flux = 40.0 / (1.0 / 5.0 + 0.80 / 0.1255 + 1.0 / 10.0)
    middles = (np.arange(EIGHTHS) + 0.5) * 0.80 / EIGHTHS

    assert layers[-1] == pytest.approx(flux / 5.0 + flux * middles / 0.1255, abs=1e-6)
    assert np.ptp(field, axis=1).max() < 1e-6


def test_time_is_exact_while_what_the_faces_see_moves_on_straight_lines():
    def faces(steps):
        line = np.linspace(0.0, 1.0, steps + 1)
        return Faces(side_c=4.0 - 11.0 * line, top_c=30.0 * line, bottom_c=10.0 - 20.0 * line)

    start = np.array([4.0, 4.0, 5.0, 6.0, 8.0, 11.0, 11.0, 12.0])
    once, _ = march_solid(DRUM, start_c=start, faces=faces(1), step_s=21_600.0)
    often, _ = march_solid(DRUM, start_c=start, faces=faces(72), step_s=300.0)

    assert once[-1] == pytest.approx(often[-1], abs=1e-9)


def test_what_a_solid_gains_came_through_its_faces():
    # energy over a long step in rising air, by the heat through the faces at many times
    steps = 288
    air = np.linspace(-10.0, 30.0, steps + 1)
    faces = Faces(side_c=air, top_c=air + 5.0, bottom_c=air - 5.0)
    layers, _ = march_solid(DRUM, start_c=np.full(EIGHTHS, 12.0), faces=faces, step_s=300.0)
    mixed = replace(DRUM, conductivity_w_mk=1e6)
    one, _ = march_solid(mixed, start_c=np.full(EIGHTHS, 12.0), faces=faces, step_s=300.0)
    area = np.pi * 0.286**2
    side = 2.0 * np.pi * 0.286 * 0.80
    conductance = 8.29 * (side + 2.0 * area)
    gained = one.mean(axis=1) - 12.0
    came = (
        np.cumsum(conductance * (0.5 * (air[1:] + air[:-1]) - 0.5 * (one[1:, 0] + one[:-1, 0])))
        * 300.0
        / (DRUM.capacity_j_m3k * area * 0.80)
    )

    assert gained[1:] == pytest.approx(came, abs=2e-3)
    # a solid gains less than one of boundless conductivity
    assert abs(layers[-1].mean() - 12.0) < abs(gained[-1])
