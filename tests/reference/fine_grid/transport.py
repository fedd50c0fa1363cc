"""Heat carried by the flow and by conduction, on the cells of a grid.

The flow carries by sweeps along r and z in turn, each of second order with van Leer's limiter
(J. Comput. Phys. 14, 1974) and bounded. A sweep leaves each cell with the volume that this
direction alone gives it; the other one brings the volumes back, so what is uniform stays uniform
and no heat is lost. Conduction is implicit, along r and then along z.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from tests.reference.fine_grid.grid import Floats, Grid


class Cells(NamedTuple):
    """What the compiled loops read of a grid and a liquid, for each radian."""

    ring: Floats  # plan area, m2, (rings,)
    dr: Floats  # width, m, (rings,)
    gap_r: Floats  # between middles, m, (rings-1,)
    dz: Floats  # height, m, (slices,)
    gap_z: Floats  # between middles, m, (slices-1,)
    link_r: Floats  # diffusivity x r / gap, m2/s, (rings-1,)
    link_z: Floats  # diffusivity / gap, m/s, (slices-1,)


def cells_of(grid: Grid, *, diffusivity_m2_s: float) -> Cells:
    """Gather what the loops read."""
    gap_r, gap_z = np.diff(grid.ring_r_m), np.diff(grid.slice_z_m)
    return Cells(
        ring=grid.ring_m2,
        dr=np.diff(grid.r_m),
        gap_r=gap_r,
        dz=grid.slice_m,
        gap_z=gap_z,
        link_r=diffusivity_m2_s * grid.r_m[1:-1] / gap_r,
        link_z=diffusivity_m2_s / gap_z,
    )


@njit(cache=True)
def _limited(left, right):
    """Van Leer's harmonic mean of two slopes; zero at a peak."""
    product = left * right
    return 2.0 * product / (left + right) if product > 0.0 else 0.0


@njit(cache=True)
def carry_r(cells, t, volume, psi, dt):
    """Carry along r for `dt`; `t` and `volume` in place."""
    rings, slices = t.shape
    lean = np.zeros((rings, slices))  # from the middle of a cell to its outer face, K
    for i in range(1, rings - 1):
        for j in range(slices):
            left = (t[i, j] - t[i - 1, j]) / cells.gap_r[i - 1]
            right = (t[i + 1, j] - t[i, j]) / cells.gap_r[i]
            lean[i, j] = 0.5 * cells.dr[i] * _limited(left, right)
    heat_in, flow_in = np.zeros(slices), np.zeros(slices)
    for i in range(rings):
        for j in range(slices):
            flow, heat = 0.0, 0.0
            if i < rings - 1:
                flow = -(psi[i + 1, j + 1] - psi[i + 1, j]) * dt
                if flow > 0.0:
                    heat = flow * (t[i, j] + (1.0 - flow / volume[i, j]) * lean[i, j])
                else:
                    rest = 1.0 + flow / volume[i + 1, j]
                    heat = flow * (t[i + 1, j] - rest * lean[i + 1, j])
            left_with = volume[i, j] + flow_in[j] - flow
            t[i, j] = (volume[i, j] * t[i, j] + heat_in[j] - heat) / left_with
            volume[i, j] = left_with
            flow_in[j], heat_in[j] = flow, heat


@njit(cache=True)
def carry_z(cells, t, volume, psi, dt):
    """Carry along z for `dt`; `t` and `volume` in place."""
    rings, slices = t.shape
    lean = np.zeros(slices)  # from the middle of a cell to its upper face, K
    heat, flow = np.zeros(slices + 1), np.zeros(slices + 1)
    for i in range(rings):
        for j in range(1, slices - 1):
            left = (t[i, j] - t[i, j - 1]) / cells.gap_z[j - 1]
            right = (t[i, j + 1] - t[i, j]) / cells.gap_z[j]
            lean[j] = 0.5 * cells.dz[j] * _limited(left, right)
        for j in range(1, slices):
            flow[j] = (psi[i + 1, j] - psi[i, j]) * dt
            rising = t[i, j - 1] + (1.0 - flow[j] / volume[i, j - 1]) * lean[j - 1]
            sinking = t[i, j] - (1.0 + flow[j] / volume[i, j]) * lean[j]
            heat[j] = flow[j] * (rising if flow[j] > 0.0 else sinking)
        for j in range(slices):
            left_with = volume[i, j] + flow[j] - flow[j + 1]
            t[i, j] = (volume[i, j] * t[i, j] + heat[j] - heat[j + 1]) / left_with
            volume[i, j] = left_with


@njit(cache=True)
def conduct_r(cells, t, dt, passes, air):
    """Conduct along r for `dt`, in place; the heat that came through the side, K m3.

    `passes` is what side (m2/s), top and bottom (m/s) pass from the air to the nearest cells.
    """
    rings, slices = t.shape
    side, _, _ = passes
    film = np.zeros(rings)
    film[-1] = side
    pivot, eliminated = _factored(cells.ring, cells.link_r, film, dt)
    for i in range(rings):
        for j in range(slices):
            gained = cells.ring[i] * t[i, j] + dt * film[i] * air
            if i > 0:
                gained += dt * cells.link_r[i - 1] * t[i - 1, j]
            t[i, j] = gained * pivot[i]
    for i in range(rings - 2, -1, -1):
        for j in range(slices):
            t[i, j] += eliminated[i] * t[i + 1, j]
    came = 0.0
    for j in range(slices):
        came += dt * side * (air - t[-1, j]) * cells.dz[j]
    return came


@njit(cache=True)
def conduct_z(cells, t, dt, passes, air):
    """Conduct along z for `dt`, in place; the heat that came through the two ends, K m3."""
    rings, slices = t.shape
    _, top, bottom = passes
    film = np.zeros(slices)
    film[0] = bottom
    film[-1] = top
    pivot, eliminated = _factored(cells.dz, cells.link_z, film, dt)
    for j in range(slices):
        for i in range(rings):
            gained = cells.dz[j] * t[i, j] + dt * film[j] * air
            if j > 0:
                gained += dt * cells.link_z[j - 1] * t[i, j - 1]
            t[i, j] = gained * pivot[j]
    for j in range(slices - 2, -1, -1):
        for i in range(rings):
            t[i, j] += eliminated[j] * t[i, j + 1]
    came = 0.0
    for i in range(rings):
        came += dt * cells.ring[i] * (top * (air - t[i, -1]) + bottom * (air - t[i, 0]))
    return came


@njit(cache=True)
def _factored(size, link, film, dt):
    """Factor (size + dt x conduction) along a line: one over the pivots, and the rest."""
    cells = len(size)
    pivot, eliminated = np.empty(cells), np.zeros(cells)
    for i in range(cells):
        diagonal = size[i] + dt * film[i]
        if i > 0:
            diagonal += dt * link[i - 1] * (1.0 - eliminated[i - 1])
        if i < cells - 1:
            diagonal += dt * link[i]
        pivot[i] = 1.0 / diagonal
        if i < cells - 1:
            eliminated[i] = dt * link[i] * pivot[i]
    return pivot, eliminated
