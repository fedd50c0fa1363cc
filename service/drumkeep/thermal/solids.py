"""A drum of solids or gel: heat goes by conduction alone.

A cylinder in finite volumes, finer towards its faces. What acts up and down and what acts across
are independent (a finite cylinder's series is the product of a wall's and a cylinder's for that
reason), so each has eigenvectors of its own, and in their products every mode decays by itself:
exact in time, also while what the faces see moves on straight lines.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.band import band_of
from drumkeep.thermal.constants import DRUM_RADIUS_M
from drumkeep.thermal.geometry import CROSS_SECTION_M2
from drumkeep.thermal.march import Course
from drumkeep.thermal.parameter_sets import SETS
from drumkeep.thermal.properties import Row
from drumkeep.thermal.stratified import EIGHTHS, Liquid, depth, eighths, heat_capacity

Floats = NDArray[np.float64]

RINGS: Final = 48
SLICES: Final = (12, 6, 4, 4, 4, 4, 4, 4)
"""Slices of each sixteenth from an end to the middle; the twelve thin out towards the end. So the
layers lie within 0.012 K of the exact series for a step of 20 K, up to 25 W/(m² K), at any time."""

_STRETCH: Final = 2.0
"""The cell at a face is thinner than the one furthest from it by about e to this."""

NO_MODEL_ERROR: Final = 0.0

_SMALL: Final = 1e-5


@dataclass(frozen=True)
class Cylinder:
    """A solid: radius and height m; k W/(m K); ρ c J/(m³ K); films W/(m² K) of its faces."""

    radius_m: float
    height_m: float
    conductivity_w_mk: float
    capacity_j_m3k: float
    side_w_m2k: float
    top_w_m2k: float
    bottom_w_m2k: float


@dataclass(frozen=True)
class Faces:
    """What side, top and bottom face over time, °C, each of shape (time,)."""

    side_c: Floats
    top_c: Floats
    bottom_c: Floats


@dataclass(frozen=True)
class _Axis:
    """One direction: ``edges`` m; eigenvalues 1/s, vectors and their inverse; pull of the faces.

    dT/dt = A T + Σ pull · face, with A = vectors · diag(−rates) · inverse; ``pulls`` (2, cell) are
    of the face at the first edge and of that at the last, ``weights`` the cells' volumes.
    """

    edges: Floats
    rates: Floats
    vectors: Floats
    inverse: Floats
    pulls: Floats
    weights: Floats


def solid_course(
    start_c: Floats,
    *,
    liquid: Liquid,
    side_c: Floats,
    top_c: Floats,
    floor_c: Floats,
    step_s: float,
) -> Course:
    """March one drum whose liquid does not flow, under the slow, likely and fast set.

    The properties hold at the mean of the start and of what the side faces, and the shell's heat
    capacity rides with the solid. The band is the hull of the sets alone: the numerical error is
    below 0.05 K.

    Parameters
    ----------
    start_c
        Layers at the start, °C, shape (3, 1, layer).
    liquid
        Properties and films of one drum, broadcasting to (3, 1).
    side_c, top_c, floor_c
        What side, top and bottom face at every step's end points, °C, shape (time, set, 1); the
        set axis may be 1.
    step_s
        Step, s.
    """
    steps = side_c.shape[0]
    side, top, bottom = (
        np.broadcast_to(faced, (steps, SETS, 1)) for faced in (side_c, top_c, floor_c)
    )
    middle_c = 0.5 * (start_c.mean(axis=-1) + side.mean(axis=0))
    height = np.broadcast_to(depth(liquid, mean_c=middle_c), (SETS, 1))
    volume = height * CROSS_SECTION_M2
    capacity = np.broadcast_to(heat_capacity(liquid, mean_c=middle_c), (SETS, 1)) / volume
    conductivity = np.broadcast_to(liquid.at(Row.CONDUCTIVITY, middle_c), (SETS, 1))
    layers = np.empty((steps, SETS, 1, EIGHTHS))
    for one in range(SETS):
        solid = Cylinder(
            radius_m=DRUM_RADIUS_M,
            height_m=float(height[one, 0]),
            conductivity_w_mk=float(conductivity[one, 0]),
            capacity_j_m3k=float(capacity[one, 0]),
            side_w_m2k=float(liquid.side_w_m2k[one, 0]),
            top_w_m2k=float(liquid.top_w_m2k[one, 0]),
            bottom_w_m2k=float(liquid.bottom_w_m2k[one, 0]),
        )
        faces = Faces(side[:, one, 0], top[:, one, 0], bottom[:, one, 0])
        layers[:, one, 0], _ = march_solid(
            solid, start_c=eighths(start_c[one, 0]), faces=faces, step_s=step_s
        )
    band = band_of(np.moveaxis(layers, 1, 0), drive_k=np.zeros((steps, 1)), kept=NO_MODEL_ERROR)
    seconds = np.arange(steps, dtype=np.float64) * step_s
    return Course(seconds=seconds, layers_c=layers, band=band)


def march_solid(
    solid: Cylinder, *, start_c: Floats, faces: Faces, step_s: float
) -> tuple[Floats, Floats]:
    """March a solid from its layers at the start.

    Parameters
    ----------
    solid
        Its size, properties and films.
    start_c
        Eighths, °C, bottom first; each the same all over.
    faces
        What the faces see at the ends of the steps; straight lines between.
    step_s
        Step, s.

    Returns
    -------
    layers_c
        Means of the layers, °C, shape (time, layer).
    field_c
        Cells at the end, °C, shape (slice, ring), bottom and axis first.
    """
    up, across = _upright(solid), _across(solid)
    decay = (up.rates[:, None] + across.rates[None, :]) * step_s
    kept, early, late = _phi(decay)
    drives = _drives(up, across) * step_s
    # Six numbers drive a step: what three faces see at its beginning and at its end.
    pulls = np.concatenate([early * drives, late * drives]).reshape(6, -1)
    seen = np.stack([faces.side_c, faces.top_c, faces.bottom_c], axis=1)
    seen = np.concatenate([seen[:-1], seen[1:]], axis=1)

    middles = 0.5 * (up.edges[1:] + up.edges[:-1])
    layer_of = (middles / solid.height_m * EIGHTHS).astype(np.intp)
    inside = layer_of == np.arange(EIGHTHS)[:, None]
    means = inside * up.weights / (inside * up.weights).sum(axis=1, keepdims=True)
    read_up = means @ up.vectors
    read_across = across.weights @ across.vectors / across.weights.sum()

    cells = start_c[layer_of][:, None] * np.ones((1, len(across.rates)))
    modes = up.inverse @ cells @ across.inverse.T
    layers = np.empty((len(faces.side_c), EIGHTHS))
    layers[0] = start_c
    for i in range(len(seen)):
        modes = kept * modes + (seen[i] @ pulls).reshape(modes.shape)
        layers[i + 1] = read_up @ (modes @ read_across)
    return layers, up.vectors @ modes @ across.vectors.T


def cell_middles(solid: Cylinder) -> tuple[Floats, Floats]:
    """Height of each slice's middle above the bottom and radius of each ring's, m."""
    up, across = _upright(solid).edges, _across(solid).edges
    return 0.5 * (up[1:] + up[:-1]), 0.5 * (across[1:] + across[:-1])


def _phi(decay: Floats) -> tuple[Floats, Floats, Floats]:
    """Weights of state, first and last drive over a step, the drives times its length."""
    kept = np.exp(-decay)
    safe = np.maximum(decay, _SMALL)
    whole = np.where(decay > _SMALL, -np.expm1(-safe) / safe, 1.0 - 0.5 * decay)
    late = np.where(decay > _SMALL, (1.0 - whole) / safe, 0.5 - decay / 6.0)
    return kept, whole - late, late


def _drives(up: _Axis, across: _Axis) -> Floats:
    """How hard each face drives every mode, 1/s, shape (3, mode, mode): side, top, bottom.

    Sums of products, like the modes themselves.
    """
    even_up, even_across = up.inverse.sum(axis=1), across.inverse.sum(axis=1)
    return np.stack(
        [
            np.outer(even_up, across.inverse @ across.pulls[1]),
            np.outer(up.inverse @ up.pulls[1], even_across),
            np.outer(up.inverse @ up.pulls[0], even_across),
        ]
    )


def _upright(solid: Cylinder) -> _Axis:
    """Slices from bottom to top, finer in the first and the last layer towards the faces."""
    shares = [_stretched(SLICES[0]), *(np.linspace(0.0, 1.0, n + 1) for n in SLICES[1:])]
    lower = np.concatenate([[0.0], *(i + share[1:] for i, share in enumerate(shares))])
    lower *= 0.5 / len(SLICES)
    edges = solid.height_m * np.concatenate([lower[:-1], 1.0 - lower[::-1]])
    return _axis(
        edges,
        faces_m2=np.ones(len(edges)),
        volumes_m3=np.diff(edges),
        films=(solid.bottom_w_m2k, solid.top_w_m2k),
        solid=solid,
    )


def _across(solid: Cylinder) -> _Axis:
    """Rings from the axis out, finer towards the wall."""
    edges = solid.radius_m * (1.0 - _stretched(RINGS)[::-1])
    return _axis(
        edges,
        faces_m2=2.0 * edges,
        volumes_m3=np.diff(edges**2),
        films=(0.0, solid.side_w_m2k),
        solid=solid,
    )


def _stretched(count: int) -> Floats:
    """Edges from 0 to 1, closest at 0."""
    even = np.linspace(0.0, 1.0, count + 1)
    return np.asarray(np.expm1(_STRETCH * even) / np.expm1(_STRETCH), dtype=np.float64)


def _axis(
    edges: Floats,
    *,
    faces_m2: Floats,
    volumes_m3: Floats,
    films: tuple[float, float],
    solid: Cylinder,
) -> _Axis:
    """Work out one direction; areas and volumes may share any factor."""
    k = solid.conductivity_w_mk
    middles = 0.5 * (edges[1:] + edges[:-1])
    links = k * faces_m2[1:-1] / np.diff(middles)
    half = (middles[0] - edges[0], edges[-1] - middles[-1])
    ends = [
        area / (1.0 / film + gap / k) if film > 0.0 else 0.0
        for area, film, gap in zip((faces_m2[0], faces_m2[-1]), films, half, strict=True)
    ]
    capacity = solid.capacity_j_m3k * volumes_m3
    out = np.zeros(len(volumes_m3))
    out[:-1] += links
    out[1:] += links
    out[0] += ends[0]
    out[-1] += ends[1]
    root = np.sqrt(capacity)
    # symmetric in cells weighted by the root of their capacity: real modes, and a cheap inverse
    symmetric = np.diag(out / capacity)
    between = links / (root[:-1] * root[1:])
    symmetric -= np.diag(between, 1) + np.diag(between, -1)
    rates, vectors = np.linalg.eigh(symmetric)
    pulls = np.zeros((2, len(volumes_m3)))
    pulls[0, 0] = ends[0] / capacity[0]
    pulls[1, -1] = ends[1] / capacity[-1]
    return _Axis(
        edges=edges,
        rates=np.maximum(rates, 0.0),
        vectors=vectors / root[:, None],
        inverse=vectors.T * root,
        pulls=pulls,
        weights=volumes_m3,
    )
