"""One step of one drum's layers, compiled, and the loops over drums and steps around it.

The equations stand in ``README.md`` beside this. Everything here is numbers in and numbers out;
``stratified`` and ``march`` give it names, units and shapes. Over 400 lines because compiled code
takes its arguments one by one and kept on disk is only safe in one file: the compiler does not see
that a module it imports from has changed. After a change to ``constants``, ``geometry`` or the
nodes of ``properties`` this file must be touched.
"""

from collections.abc import Callable
from functools import cache, wraps
from typing import Any, Final

import numba
import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_RADIUS_M, GRAVITY_M_S2, STEEL_SPECIFIC_HEAT_J_KGK
from drumkeep.thermal.geometry import CROSS_SECTION_M2, DRUM_INSIDE_HEIGHT_M, PERIMETER_M
from drumkeep.thermal.properties import LOWEST_C, NODE_K, Row

Floats = NDArray[np.float64]

LAYERS: Final = 24
"""Equal layers that are marched; people are told of eighths, three of these each."""

C_FILM: Final = 2.0
"""Wall-to-core film c k/δ; 2 is the slope at the wall of a parabolic profile of thickness δ."""

C_FLOW: Final = 0.0296
STREAM_SHARE: Final = 0.357
"""Mass flow c ρ g β Δ δ³/ν a metre of wall, and the mean excess of the stream as a share of the
wall's excess Δ. Like the five below fitted to fine-grid curves."""

STILL_BOTTOM: Final = 0.613
STILL_TOP: Final = 1.54
C_TURNING: Final = 0.351
"""Between an end layer and its face: where the end is stable (cold below, warm above), so many half
layers at rest; where it turns over, a film c k (g β ΔT/(ν α))^⅓."""

CRITICAL_RAYLEIGH: Final = 1100.65
"""Of a layer heated from below, rigid and free (Chandrasekhar 1961): thick liquid holds some."""

TURNING_LAYERS: Final = 5.0
"""How many layers the slab has that turns over or holds; chosen on the fine-grid curves."""

SHARP: Final = 1.35
SHARP_PER_FILM: Final = 18.4
"""How sharply the core keeps its layering as it flows: so much, less so much for each radius of
film thickness. A thick film drags along liquid of many layers."""

LEAST_MASS_KG: Final = 0.5
"""A heel of less is marched as if it were this much."""

LONGEST_STEP_S: Final = 900.0
"""Longer steps are marched in pieces. At 900 s the errors against fine-grid curves are those at
100 s, within 0.1 K; a stream that moves more than most of a layer shortens its pieces by itself."""

_THICKEST_M: Final = 0.125 * DRUM_RADIUS_M
"""Where the wall is hardly warmer than the core the film would fill the drum."""

_NEWTON_STEPS: Final = 20
_NEWTON_CLOSE: Final = 0.005
"""Newton's method squares its error: the step after one this small is within 1e-4."""

_COURANT_LIMIT: Final = 0.9
_MOST_PIECES: Final = 64
"""In which a step is taken at most; the flow is held down to what they can carry (thin heels)."""

_LEAST_DRIVE_K: Final = 1e-9
_MOST_HELD_K: Final = 100.0
"""Gel would hold more than any drum sees, and cost digits."""

_TURNING_ROUNDS: Final = 3
_LEAST_TURNING: Final = 25.0
"""Of k over the depth: with less, gel would warm slower than the exact series of a solid."""

_FIRST_TURNING_W_M2K: Final = 20.0
_DENSITY: Final = int(Row.DENSITY)
_EXPANSION: Final = int(Row.EXPANSION)
_SPECIFIC_HEAT: Final = int(Row.SPECIFIC_HEAT)
_CONDUCTIVITY: Final = int(Row.CONDUCTIVITY)
_VISCOSITY: Final = int(Row.VISCOSITY)


def _kept(compiler: Callable[..., Any], *told: Any, **options: Any) -> Callable[..., Any]:  # noqa: ANN401 - numba's types are not typed
    """Compile, and keep what was compiled on disk where some folder may be written."""

    def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
        try:
            return compiler(*told, cache=True, **options)(function)  # type: ignore[no-any-return]
        except RuntimeError:
            # No place to keep it: compiled anew at each start.
            return compiler(*told, cache=False, **options)(function)  # type: ignore[no-any-return]

    return compiled


_inlined = _kept(numba.njit, inline="always", error_model="numpy")
_compiled = _kept(numba.njit, error_model="numpy")


@_inlined
def _look_up(table: Floats, row: int, at_c: float) -> float:
    """One property at a temperature, by straight lines between the nodes."""
    place = (at_c - LOWEST_C) / NODE_K
    last = table.shape[1] - 2
    left = min(max(int(place), 0), last)
    share = min(max(place - left, 0.0), 1.0)
    low = table[row, left]
    return float(low + share * (table[row, left + 1] - low))


@_compiled
def _thickness(
    drive: float, excess: float, side: float, film: float, lift: float, area: float, guess: float
) -> float:
    """Thickness δ of the wall film at the far end of a layer, m, by Newton's method.

    The heat (W/K of its flow, K) that came with the stream and the heat taken up beside this layer
    leave with the flow that this thickness drives: lift Δ² δ³ = excess + area (c k/δ) Δ with the
    wall's excess Δ = drive h δ/(h δ + c k). Multiplied out it has one positive root, and is convex
    beyond it. ``guess`` is the thickness at the layer before.
    """
    a = lift * (drive * side) ** 2
    b = area * drive * side * film
    d = guess
    bounded = False
    for _ in range(_NEWTON_STEPS):
        w = side * d + film
        slope = 5.0 * a * d**4 - b * side - 2.0 * excess * side * w
        change = (a * d**5 - b * w - excess * w * w) / slope
        if not bounded and (slope <= 0.0 or change < -d):
            # Too far short of the root: begin beyond it, where the method cannot miss. No term of
            # the equation exceeds its share there.
            d = max(
                np.sqrt(np.sqrt(4.0 * b * side / a)),
                (max(4.0 * b, 16.0 * excess * film) * film / a) ** 0.2,
                np.cbrt(16.0 * excess * side * side / a),
            )
            bounded = True
            continue
        d -= change
        if abs(change) < _NEWTON_CLOSE * d:
            break
    return min(d, _THICKEST_M)


@_compiled
def _wall_stream(
    t: Floats,
    table: Floats,
    side: float,
    side_c: float,
    lift: float,
    film: float,
    area: float,
    most: float,
    upward: bool,
    flow: Floats,
    source: Floats,
) -> tuple[int, float, float]:
    """Follow the stream along the wall through the layers that it warms (upward) or cools.

    It starts empty at the bottom (the top), gathers liquid from each layer, and ends where the wall
    is no longer warmer (colder) than the liquid. Writes ``flow`` (W/K through each border, upward
    positive, at most ``most``) and adds to ``source`` (W) the heat that it leaves in layers;
    returns how many layers it passed, its largest flow and its thickest film.
    """
    way = 1 if upward else -1
    carried = 0.0
    excess = 0.0
    thickness = 0.25 * _THICKEST_M
    passed = 0
    largest = 0.0
    thickest = 0.0
    j = 0 if upward else LAYERS - 1
    while 0 <= j < LAYERS:
        drive = (side_c - t[j]) * way
        if drive <= _LEAST_DRIVE_K:
            break
        if passed:
            # What was warmer than the layer before is less so than this one. Where the stream would
            # be colder than it, only so much goes on as has the warmth; the rest stays behind.
            step = (t[j] - t[j - way]) * way
            if carried * step > excess:
                flow[j if upward else j + 1] = excess / step * way
                excess = 0.0
            else:
                excess -= carried * step
        beside = t[j] + 0.5 * way * drive
        push = lift / _look_up(table, _VISCOSITY, beside)
        thickness = _thickness(drive, excess, side, film, push * STREAM_SHARE, area, thickness)
        wall = drive * side * thickness / (side * thickness + film)
        excess += film / thickness * wall * area
        carried = min(push * wall * thickness**3, most)
        held = carried * STREAM_SHARE * wall
        if excess > held:
            source[j] += (excess - held) * way
            excess = held
        passed += 1
        flow[j + 1 if upward else j] = carried * way
        largest = max(largest, carried)
        thickest = max(thickest, thickness)
        j += way
    if passed:
        # At its end all of it stays in the last layer.
        source[j - way] += excess * way
        flow[j if upward else j + 1] = 0.0
    return passed, largest, thickest


@_inlined
def _limited(one: float, other: float, sharp: float) -> float:
    """Half a layer's slope from those on its two sides; none at a peak."""
    if one * other <= 0.0:
        return 0.0
    slope = min(sharp * abs(one * other / (one + other)), abs(one), abs(other))
    return slope if one > 0.0 else -slope


@_compiled
def _carry(
    t: Floats, flow: Floats, source: Floats, scale: float, sharp: float, after: Floats
) -> None:
    """Let the core flow against the streams, in place: second order where the stack is smooth.

    Explicit; a limited slope (``sharp`` times van Leer's harmonic one, never steeper than either
    neighbour) keeps each layer within its neighbours. ``scale`` is the time over a layer's heat
    capacity, s K/J.
    """
    below = 0.0
    for j in range(LAYERS):
        through = 0.0
        if j < LAYERS - 1:
            upward = -flow[j + 1]
            across = t[j + 1] - t[j]
            if upward > 0.0:
                border = t[j]
                behind = t[j] - t[j - 1] if j > 0 else 0.0
                border += (1.0 - upward * scale) * _limited(behind, across, sharp)
            else:
                border = t[j + 1]
                behind = t[j + 2] - t[j + 1] if j < LAYERS - 2 else 0.0
                border -= (1.0 + upward * scale) * _limited(behind, across, sharp)
            through = upward * border
        # The stream takes its liquid from a layer, or leaves it there, at the layer's own heat.
        gathered = (flow[j + 1] - flow[j]) * t[j]
        after[j] = t[j] + scale * (below - through - gathered + source[j])
        below = through
    for j in range(LAYERS):
        t[j] = after[j]


@_compiled
def _end_film(
    outside: float, difference: float, held: float, still: float, turning: float, least: float
) -> float:
    """Film of an end, W/(m² K), with what of the liquid stands behind it.

    ``difference`` is by how much, K, the face would have the liquid turn over. Up to ``held`` it
    does not, and ``still`` (m² K/W) of it rests there; beyond, ``turning`` times the third root of
    the face's own difference is the liquid's film, at least ``least``.
    """
    if difference < held:
        return outside / (1.0 + outside * still)
    inside = _FIRST_TURNING_W_M2K
    for _ in range(_TURNING_ROUNDS):
        face = difference * outside / (outside + inside) if outside > 0.0 else 0.0
        inside = max(turning * np.cbrt(face), least)
    return outside * inside / (outside + inside)


@_compiled
def _conduct(
    t: Floats,
    between: float,
    top: float,
    top_c: float,
    bottom: float,
    floor_c: float,
    upper: Floats,
) -> None:
    """Conduction between layers and the two ends, in place; implicit: stable for any heel.

    ``between``, ``top`` and ``bottom`` are conductances over a layer's heat capacity, times the
    step's length.
    """
    diagonal = 1.0 + between + bottom
    upper[0] = -between / diagonal
    t[0] = (t[0] + bottom * floor_c) / diagonal
    for j in range(1, LAYERS):
        last = j == LAYERS - 1
        diagonal = 1.0 + (between + top if last else 2.0 * between) + between * upper[j - 1]
        right = t[j] + (top * top_c if last else 0.0)
        upper[j] = -between / diagonal
        t[j] = (right + between * t[j - 1]) / diagonal
    for j in range(LAYERS - 2, -1, -1):
        t[j] -= upper[j] * t[j + 1]


@_compiled
def _overturn(t: Floats, held: float) -> None:
    """Bring the stack to the nearest that falls by no more than ``held``, K, a layer, in place.

    See ``overturn``. Nearest and not evened out: so it turns over as steadily as it is driven.
    """
    stable = True
    for j in range(1, LAYERS):
        stable = stable and t[j] >= t[j - 1] - held
    if stable:
        return
    level = np.empty(LAYERS)
    count = np.empty(LAYERS, dtype=np.int64)
    pools = 0
    for j in range(LAYERS):
        level[pools] = t[j] + j * held
        count[pools] = 1
        pools += 1
        while pools > 1 and level[pools - 1] < level[pools - 2]:
            joined = count[pools - 2] + count[pools - 1]
            level[pools - 2] += (level[pools - 1] - level[pools - 2]) * (count[pools - 1] / joined)
            count[pools - 2] = joined
            pools -= 1
    j = 0
    for pool in range(pools):
        for _ in range(count[pool]):
            t[j] = level[pool] - j * held
            j += 1


@_compiled
def _step(
    t: Floats,
    table: Floats,
    mass: float,
    side: float,
    top: float,
    bottom: float,
    steel: float,
    side_c: float,
    top_c: float,
    floor_c: float,
    heat: Floats,
    seconds: float,
    room: Floats,
) -> None:
    """Advance the layers (°C, bottom first) by one step, in place; ``room`` is space to work in."""
    flow, source, spare = room[0], room[1], room[2]
    mean = 0.0
    for j in range(LAYERS):
        mean += t[j]
    mean /= LAYERS
    rho = _look_up(table, _DENSITY, mean)
    cp = _look_up(table, _SPECIFIC_HEAT, mean)
    k = _look_up(table, _CONDUCTIVITY, mean)
    beta = _look_up(table, _EXPANSION, mean)
    mass = max(mass, LEAST_MASS_KG)
    height = mass / (rho * CROSS_SECTION_M2)
    dz = height / LAYERS
    wetted = min(height / DRUM_INSIDE_HEIGHT_M, 1.0)
    capacity = (mass * cp + steel * STEEL_SPECIFIC_HEAT_J_KGK * wetted) / LAYERS

    # ρ²: the table holds the dynamic viscosity, and the flow is one of mass
    lift = C_FLOW * rho**2 * cp * GRAVITY_M_S2 * PERIMETER_M * beta
    film = C_FILM * k
    area = PERIMETER_M * dz
    courant = _COURANT_LIMIT * capacity
    most = courant * _MOST_PIECES / seconds
    left = seconds
    while left > 0.0:
        for j in range(LAYERS + 1):
            flow[j] = 0.0
        for j in range(LAYERS):
            source[j] = heat[j]
        largest, thickest = 0.0, 0.0
        if side > 0.0:
            warmed, largest, thickest = _wall_stream(
                t, table, side, side_c, lift, film, area, most, True, flow, source
            )
            if warmed < LAYERS:
                _, down, thick = _wall_stream(
                    t, table, side, side_c, lift, film, area, most, False, flow, source
                )
                largest = max(largest, down)
                thickest = max(thickest, thick)
        # A stronger flow would carry more than a layer holds: the rest waits for the next piece.
        piece = left if largest * left <= courant else courant / largest
        sharp = max(SHARP - SHARP_PER_FILM * thickest / DRUM_RADIUS_M, 0.0)
        _carry(t, flow, source, piece / capacity, sharp, spare)
        left -= piece
    step = seconds / capacity
    ends = CROSS_SECTION_M2 * step
    half = 0.5 * dz / k
    # g β/(ν α) of the mean, 1/(m³ K)
    buoyancy = beta * GRAVITY_M_S2 * rho**2 * cp / k / _look_up(table, _VISCOSITY, mean)
    turning = C_TURNING * k * np.cbrt(buoyancy)
    least = _LEAST_TURNING * k / height
    held = min(CRITICAL_RAYLEIGH / (buoyancy * (TURNING_LAYERS * dz) ** 3), _MOST_HELD_K)
    top = _end_film(top, t[LAYERS - 1] - top_c, held, STILL_TOP * half, turning, least)
    bottom = _end_film(bottom, floor_c - t[0], held, STILL_BOTTOM * half, turning, least)
    _conduct(t, k * ends / dz, top * ends, top_c, bottom * ends, floor_c, spare)
    _overturn(t, held)


_DEFERRED: Final[list[Callable[[], Callable[..., Any]]]] = []


def _over_drums(layout: str, *types: Any) -> Callable[[Callable[..., None]], Callable[..., Any]]:  # noqa: ANN401 - numba's types are not typed
    """Compile a loop over drums when it is first called; anew in each process, a second or so.

    Kept on disk its wrapper and its loop are two files, which crash when they come from two
    compilers that ran at once. What it calls is kept: one file a function.
    """

    def deferred(loop: Callable[..., None]) -> Callable[..., Any]:
        @cache
        def compiled() -> Callable[..., Any]:
            return numba.guvectorize([types], layout, nopython=True)(loop)  # type: ignore[no-any-return, no-untyped-call]

        @wraps(loop)
        def over_drums(*given: Any, **named: Any) -> Any:  # noqa: ANN401 - as numpy's functions are
            return compiled()(*given, **named)

        _DEFERRED.append(compiled)
        return over_drums

    return deferred


def compile_all() -> None:
    """Compile now what else the first drum would wait for."""
    for compiled in _DEFERRED:
        compiled()


_f8 = numba.float64
_f1 = numba.float64[:]
_f2 = numba.float64[:, :]
_f3 = numba.float64[:, :, :]
_n = numba.int64


_ROOM: Final = (3, LAYERS + 1)


@_over_drums(
    "(n),(p,q,r),(),(),(),(),(),(),(),(),(),(n),()->(n)",
    *(_f1, _f3, _n, _f8, _f8, _f8, _f8, _f8, _f8, _f8, _f8, _f1, _f8, _f1),
)
def advance_all(
    layers: Floats,
    tables: Floats,
    number: int,
    mass: float,
    side: float,
    top: float,
    bottom: float,
    steel: float,
    side_c: float,
    top_c: float,
    floor_c: float,
    heat: Floats,
    seconds: float,
    out: Floats,
) -> None:
    """One step of each drum; see ``stratified.advance``."""
    room = np.empty(_ROOM)
    table = tables[number]
    for j in range(LAYERS):
        out[j] = layers[j]
    pieces = max(int(np.ceil(seconds / LONGEST_STEP_S)), 1)
    for _ in range(pieces):
        _step(
            out,
            table,
            mass,
            side,
            top,
            bottom,
            steel,
            side_c,
            top_c,
            floor_c,
            heat,
            seconds / pieces,
            room,
        )


@_over_drums(
    "(n),(p,q,r),(),(),(),(),(),(),(t),(t),(t),()->(t,n)",
    *(_f1, _f3, _n, _f8, _f8, _f8, _f8, _f8, _f1, _f1, _f1, _f8, _f2),
)
def march_all(
    layers: Floats,
    tables: Floats,
    number: int,
    mass: float,
    side: float,
    top: float,
    bottom: float,
    steel: float,
    side_c: Floats,
    top_c: Floats,
    floor_c: Floats,
    seconds: float,
    out: Floats,
) -> None:
    """All steps of each drum, under what it faces on straight lines; see ``march.march``."""
    room = np.empty(_ROOM)
    heat = np.zeros(LAYERS)
    table = tables[number]
    for j in range(LAYERS):
        out[0, j] = layers[j]
    pieces = max(int(np.ceil(seconds / LONGEST_STEP_S)), 1)
    for i in range(len(side_c) - 1):
        t = out[i + 1]
        for j in range(LAYERS):
            t[j] = out[i, j]
        for piece in range(pieces):
            share = (piece + 0.5) / pieces
            _step(
                t,
                table,
                mass,
                side,
                top,
                bottom,
                steel,
                side_c[i] + share * (side_c[i + 1] - side_c[i]),
                top_c[i] + share * (top_c[i + 1] - top_c[i]),
                floor_c[i] + share * (floor_c[i + 1] - floor_c[i]),
                heat,
                seconds / pieces,
                room,
            )


@_over_drums("(n)->(n)", _f1, _f1)
def overturn_all(layers: Floats, out: Floats) -> None:
    """Pool unstable layers of each drum; see ``stratified.overturn``."""
    for j in range(LAYERS):
        out[j] = layers[j]
    _overturn(out, 0.0)
