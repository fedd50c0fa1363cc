"""Slow flow of a viscous liquid in an upright cylinder, driven by its own temperatures.

Momentum without inertia, with the stream function psi (w = psi_r / r, u = -psi_z / r), zeta = r
times the vorticity u_z - w_r, and E2 = r d/dr (1/r d/dr) + d2/dz2:

    E2 zeta = (g beta / nu) r dT/dr,    E2 psi = -zeta

psi is zero all around. zeta is zero on the axis and on the free surface; at the side and the bottom
it is what makes the liquid stick there (Thom's formula, Proc. R. Soc. A 141, 1933), found with a
matrix of influence made once. Both equations are solved without iteration: eigenvectors in z,
tridiagonal systems in r.
"""

from typing import NamedTuple

import numpy as np
from numba import njit
from scipy.linalg import eigh_tridiagonal

from tests.reference.fine_grid.grid import Floats, Grid


class Stokes(NamedTuple):
    """What is made once for a grid; nodes are the inner corners of cells, (rings-1, slices-1)."""

    pull: Floats  # r/dr at each line of nodes, for r dT/dr, (rings-1,)
    below: Floats  # share of the slice below in a node's temperature, (slices-1,)
    forward: Floats  # from nodes to modes in z, (slices-1, slices-1)
    back: Floats  # and back
    lower: Floats  # of the tridiagonal system in r, (rings-1,)
    pivot: Floats  # one over the pivot, of each mode, (rings-1, slices-1)
    upper: Floats  # eliminated, of each mode, (rings-1, slices-1)
    side_pull: float  # from the side to the outermost nodes
    bottom_pull: float  # from the bottom to the lowest nodes
    side_thom: float  # zeta at the side is -side_thom psi at the outermost nodes
    bottom_thom: float
    stick: Floats  # from the slip of a flow without wall zeta to the zeta that stops it


def stokes(grid: Grid) -> Stokes:
    """Factor the two equations on a grid."""
    r, dr, dz, ring_r = grid.r_m, np.diff(grid.r_m), grid.slice_m, grid.ring_r_m
    node_dr, node_dz = np.diff(ring_r), np.diff(grid.slice_z_m)
    lower = r[1:-1] / (node_dr * ring_r[:-1] * dr[:-1])
    upper = r[1:-1] / (node_dr * ring_r[1:] * dr[1:])
    # -d2/dz2, made symmetric by the square roots of the nodes' heights
    root = np.sqrt(node_dz)
    value, vector = eigh_tridiagonal(
        (1.0 / dz[:-1] + 1.0 / dz[1:]) / node_dz, -1.0 / (dz[1:-1] * root[:-1] * root[1:])
    )
    pivot = np.empty((len(lower), len(value)))
    eliminated = np.zeros_like(pivot)
    for i in range(len(lower)):
        carried = lower[i] * eliminated[i - 1] if i else 0.0
        pivot[i] = -1.0 / (lower[i] + upper[i] + value + carried)
        eliminated[i] = upper[i] * pivot[i]
    slippery = Stokes(
        pull=r[1:-1] / node_dr,
        below=dz[1:] / (dz[1:] + dz[:-1]),
        forward=np.ascontiguousarray(vector * root[:, None]),
        back=np.ascontiguousarray((vector / root[:, None]).T),
        lower=lower,
        pivot=pivot,
        upper=eliminated,
        side_pull=float(upper[-1]),
        bottom_pull=float(1.0 / (node_dz[0] * dz[0])),
        side_thom=float(2.0 * r[-1] / (ring_r[-1] * dr[-1] ** 2)),
        bottom_thom=float(2.0 / dz[0] ** 2),
        stick=np.zeros((1, 1)),
    )
    return slippery._replace(stick=_stick(slippery))


def _stick(flow: Stokes) -> Floats:
    """Answer each unit of zeta at the walls by the slip that it makes, and invert."""
    rings, modes = flow.pivot.shape
    influence = np.eye(modes + rings)
    for k, wall in enumerate(np.eye(modes + rings)):
        psi = np.zeros((rings, modes))
        _add_walls(flow, wall, psi)
        _solve_both(flow, psi)
        influence[:, k] -= _slip(flow, psi)
    return np.ascontiguousarray(np.linalg.inv(influence))


@njit(cache=True)
def stream(flow, t, scale, psi):
    """Write psi (m3/s for each radian) at all corners (rings+1, slices+1) into `psi`.

    `t` is the temperature of the cells, `scale` g beta / nu, 1/(m s K).
    """
    rings, slices = t.shape
    source = np.empty((rings - 1, slices - 1))
    for i in range(rings - 1):
        pull = flow.pull[i] * scale
        for j in range(slices - 1):
            below = flow.below[j]
            step_below, step_above = t[i + 1, j] - t[i, j], t[i + 1, j + 1] - t[i, j + 1]
            source[i, j] = pull * (below * step_below + (1.0 - below) * step_above)
    modes = np.dot(source, flow.forward)
    slippery = modes.copy()
    _solve_both(flow, slippery)
    _add_walls(flow, np.dot(flow.stick, _slip(flow, slippery)), modes)
    _solve_both(flow, modes)
    psi[1:-1, 1:-1] = np.dot(modes, flow.back)


@njit(cache=True)
def _solve(flow, f):
    """Solve E2 x = f in place, in modes."""
    rings, modes = f.shape
    for m in range(modes):
        f[0, m] *= flow.pivot[0, m]
    for i in range(1, rings):
        lower = flow.lower[i]
        for m in range(modes):
            f[i, m] = (f[i, m] - lower * f[i - 1, m]) * flow.pivot[i, m]
    for i in range(rings - 2, -1, -1):
        for m in range(modes):
            f[i, m] -= flow.upper[i, m] * f[i + 1, m]


@njit(cache=True)
def _solve_both(flow, f):
    """Turn the source of zeta into psi, in place, in modes."""
    _solve(flow, f)
    f *= -1.0
    _solve(flow, f)


@njit(cache=True)
def _slip(flow, psi):
    """Zeta that Thom's formula asks for: at the side, bottom first, then the bottom, axis first."""
    rings, modes = psi.shape
    wall = np.empty(modes + rings)
    wall[:modes] = -flow.side_thom * np.dot(psi[rings - 1], flow.back)
    for i in range(rings):
        lowest = 0.0
        for m in range(modes):
            lowest += psi[i, m] * flow.back[m, 0]
        wall[modes + i] = -flow.bottom_thom * lowest
    return wall


@njit(cache=True)
def _add_walls(flow, wall, f):
    """Add to the source of zeta, in modes, what zeta at the walls brings."""
    rings, modes = f.shape
    f[rings - 1] -= flow.side_pull * np.dot(wall[:modes], flow.forward)
    for i in range(rings):
        bottom = flow.bottom_pull * wall[modes + i]
        for m in range(modes):
            f[i, m] -= bottom * flow.forward[0, m]
