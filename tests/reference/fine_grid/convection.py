"""A cylinder of liquid warmed or cooled from outside: its whole course, on a fine grid."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numba import njit

from tests.reference.fine_grid.grid import LAYERS, Floats, Grid
from tests.reference.fine_grid.stokes import Stokes, stokes, stream
from tests.reference.fine_grid.transport import (
    Cells,
    carry_r,
    carry_z,
    cells_of,
    conduct_r,
    conduct_z,
)

GRAVITY_M_S2: Final = 9.81
COLUMNS: Final = ("h", "air", "mean", "min", "max", "wall", *(f"L{n + 1}" for n in range(LAYERS)))


@dataclass(frozen=True)
class Liquid:
    """Constant properties; nothing moves at an expansion of 0."""

    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float
    expansion_1_k: float
    kinematic_viscosity_m2_s: float

    @property
    def heat_j_m3k(self) -> float:
        """What a cubic metre takes for a kelvin."""
        return self.density_kg_m3 * self.specific_heat_j_kgk


@dataclass(frozen=True)
class Films:
    """From the liquid at the wall to the air, W/(m2 K)."""

    side_w_m2k: float
    top_w_m2k: float
    bottom_w_m2k: float


@dataclass(frozen=True)
class Steps:
    """How long a step may be.

    Attributes
    ----------
    courant
        Largest part of a cell that may flow through one of its faces.
    stiffness
        Largest step times the rate at which the layering stops the flow; stable up to 2.
    longest_s
        In any case.
    """

    courant: float = 0.5
    stiffness: float = 1.0
    longest_s: float = 2.0


@dataclass(frozen=True)
class Course:
    """A run: `rows` (times, `COLUMNS`), cells at its end, steps, and what energy does not add up.

    `imbalance_k` is the change of the mean less all heat that came in, as kelvin of the mean.
    """

    rows: Floats
    cells_c: Floats
    steps: int
    imbalance_k: float


class _Problem(NamedTuple):
    """What the march reads and never writes."""

    flow: Stokes
    cells: Cells
    passes: tuple[float, float, float]
    scale: float  # g beta / nu, 1/(m s K)
    air_s: Floats
    air_c: Floats
    limits: tuple[float, float, float]


def run(
    grid: Grid,
    liquid: Liquid,
    films: Films,
    *,
    start_c: Sequence[float],
    air: Sequence[tuple[float, float]],
    hours: Sequence[float],
    steps: Steps | None = None,
) -> Course:
    """Compute the course.

    Parameters
    ----------
    start_c
        Of eight equal layers, bottom first.
    air
        Points (hours, °C); straight lines between them, the last one held.
    hours
        When to give a row, beside the start.
    """
    steps = steps or Steps()
    k, half_m = liquid.conductivity_w_mk, np.diff(grid.r_m)[-1] / 2.0
    air_h, air_c = np.array(air, dtype=np.float64).T.copy()
    problem = _Problem(
        flow=stokes(grid),
        cells=cells_of(grid, diffusivity_m2_s=k / liquid.heat_j_m3k),
        passes=passes(grid, liquid, films),
        scale=GRAVITY_M_S2 * liquid.expansion_1_k / liquid.kinematic_viscosity_m2_s,
        air_s=air_h * 3600.0,
        air_c=air_c,
        limits=(steps.courant, steps.stiffness, steps.longest_s),
    )
    weights = grid.layer_weights()
    t = grid.from_layers(np.asarray(start_c, dtype=np.float64))
    # what the search for the stiffest motion starts from; it keeps what it found
    shape = np.outer(np.cos(3.0 * grid.ring_r_m), np.sin(np.pi * grid.slice_z_m / grid.z_m[-1]))

    def row(hour: float) -> list[float]:
        outside, by_slice = float(np.interp(hour, air_h, air_c)), grid.by_slice(t)
        share = 1.0 / (1.0 + k / (half_m * films.side_w_m2k)) if films.side_w_m2k else 0.0
        wall = grid.slice_m @ (t[-1] + share * (outside - t[-1])) / grid.z_m[-1]
        layers = weights @ by_slice
        return [hour, outside, grid.mean(t), float(t.min()), float(t.max()), float(wall), *layers]

    rows, count, came = [row(0.0)], 0, 0.0
    begin_k = grid.mean(t)
    for begin, end in pairwise([0.0, *hours]):
        taken, gained = _advance(problem, t, shape, begin * 3600.0, end * 3600.0)
        count, came = count + taken, came + gained
        rows.append(row(end))
    imbalance = grid.mean(t) - begin_k - came / float(grid.ring_m2.sum() * grid.z_m[-1])
    return Course(rows=np.array(rows), cells_c=t, steps=count, imbalance_k=imbalance)


def passes(grid: Grid, liquid: Liquid, films: Films) -> tuple[float, float, float]:
    """Compute what side, top and bottom pass from the air to the middle of the nearest cells."""

    def through(film: float, width_m: float) -> float:
        if film == 0.0:
            return 0.0
        resistance = 1.0 / film + width_m / (2.0 * liquid.conductivity_w_mk)
        return float(1.0 / (resistance * liquid.heat_j_m3k))

    return (
        float(grid.r_m[-1]) * through(films.side_w_m2k, np.diff(grid.r_m)[-1]),
        through(films.top_w_m2k, grid.slice_m[-1]),
        through(films.bottom_w_m2k, grid.slice_m[0]),
    )


@njit(cache=True)
def _advance(problem, t, shape, begin, end):
    """March `t` in place from `begin` to `end`, s; steps taken and heat that came, K m3."""
    cells = problem.cells
    courant, stiff, longest = problem.limits
    psi = np.zeros((t.shape[0] + 1, t.shape[1] + 1))
    whole = cells.ring.reshape(-1, 1) * cells.dz
    volume = np.empty_like(whole)
    now, count, came, rate = begin, 0, 0.0, 0.0
    while now < end - 1e-6:
        if problem.scale > 0.0:
            if count % 50 == 0:
                rate = _stiffness(problem, t, shape, psi)
            stream(problem.flow, t, problem.scale, psi)
        dt = min(longest, courant / (_fastest(psi, cells) + 1e-30), stiff / (rate + 1e-30))
        dt = (end - now) / np.ceil((end - now) / dt)
        if problem.scale > 0.0:
            volume[:] = whole
            if count % 2 == 0:
                carry_z(cells, t, volume, psi, dt)
                carry_r(cells, t, volume, psi, dt)
            else:
                carry_r(cells, t, volume, psi, dt)
                carry_z(cells, t, volume, psi, dt)
        air = np.interp(now + 0.5 * dt, problem.air_s, problem.air_c)
        came += conduct_r(cells, t, dt, problem.passes, air)
        came += conduct_z(cells, t, dt, problem.passes, air)
        now += dt
        count += 1
    return count, came


@njit(cache=True)
def _stiffness(problem, t, shape, psi):
    """Rate at which the layering stops the flow, 1/s, by two rounds of the power method.

    A disturbance drives a flow, and the flow carries the layering against it: that is fast
    where the liquid is thin, and a step that is too long for it is wrong by kelvins. `shape` is
    the disturbance, left as it was found for the next time; `psi` is written over.
    """
    cells = problem.cells
    rings, slices = t.shape
    steep = np.zeros(slices)
    for j in range(slices):
        low, high = max(j - 1, 0), min(j + 1, slices - 1)
        over = cells.gap_z[low:high].sum() * cells.ring.sum()
        for i in range(rings):
            steep[j] += cells.ring[i] * abs(t[i, high] - t[i, low]) / over
    if steep.max() < 1e-9:
        return 0.0
    rate = 0.0
    for _ in range(2):
        stream(problem.flow, shape, problem.scale, psi)
        before, after = 0.0, 0.0
        for i in range(rings):
            for j in range(slices):
                risen = psi[i + 1, j] - psi[i, j] + psi[i + 1, j + 1] - psi[i, j + 1]
                volume = cells.ring[i] * cells.dz[j]
                before += volume * shape[i, j] ** 2
                shape[i, j] = 0.5 * risen / cells.ring[i] * steep[j]
                after += volume * shape[i, j] ** 2
        rate = np.sqrt(after / before)
        shape /= np.sqrt(after)
    return rate


@njit(cache=True)
def _fastest(psi, cells):
    """Largest part of a cell's volume that flows through one of its faces in a second."""
    fastest = 0.0
    for i in range(len(cells.dr)):
        for j in range(len(cells.dz)):
            outer, inner = psi[i + 1, j + 1] - psi[i + 1, j], psi[i, j + 1] - psi[i, j]
            upper, lower = psi[i + 1, j + 1] - psi[i, j + 1], psi[i + 1, j] - psi[i, j]
            flow = max(abs(outer), abs(inner), abs(upper), abs(lower))
            fastest = max(fastest, flow / (cells.ring[i] * cells.dz[j]))
    return fastest
