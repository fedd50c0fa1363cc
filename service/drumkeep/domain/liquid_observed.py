"""What a reading in or on a drum sees of its layers, and how well.

A probe reads the liquid at its height; a wall is part liquid and part what it faces. What height
and wall leave open adds to the instrument's own error.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.liquid_state import NEVER, LiquidStates
from drumkeep.thermal.band import TWO_SIDED_90
from drumkeep.thermal.geometry import CROSS_SECTION_M2
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import LAYERS

Floats = NDArray[np.float64]

DIP_SIGMA_K: Final = 0.5
SKIN_SIGMA_K: Final = 1.5
"""A probe's class; paint, glue and aim of a skin reading (our judgement)."""

HEIGHT_SIGMA_M: Final = 0.03
MID_DEPTH_SIGMA_M: Final = 0.05
"""How well a height is known that was given, and mid-depth that was not (our judgement)."""

FILM_RATIO_SIGMA: Final = 0.3
"""Of the logarithm of outside over inside film: each is known to about a fifth (our judgement)."""

UNKNOWN_AIR_K: Final = 5.0
HEATER_WALL_K: Final = 5.0
"""How far a wall may be from the liquid behind it where its air is not known, and beside a heater
that runs: such a reading says little (our judgement)."""

BY_HAND: Final = NEVER
"""In the place of a sensor's id."""


@dataclass(frozen=True)
class Reading:
    """A temperature measured in or on a drum.

    ``on_wall``: of the wall's outside; else of the liquid. ``height_m`` is above the bottom of the
    liquid, mid-depth where None. ``source`` is the sensor's id, or :data:`BY_HAND`. ``fixed``: the
    same instrument again and again, so that its error does not average out.
    """

    c: float
    sigma_k: float
    height_m: float | None = None
    on_wall: bool = False
    source: int = BY_HAND
    fixed: bool = False


@dataclass(frozen=True)
class Beside:
    """What surrounds a drum when it is measured.

    ``side_c`` is what its side faces, °C (NaN: not known); ``liquid_share`` the liquid's share in
    the wall's temperature (``thermal.wall``).
    """

    step: int
    side_c: float
    sensor_error_k: float
    depth_m: float
    liquid_share: float = 1.0


@dataclass(frozen=True)
class Observation:
    """A reading as the layers see it: measured = offset + row · layers ± sigma."""

    row: Floats
    offset_c: float
    sigma_k: float

    def of(self, layers_c: Floats) -> Floats:
        """Return what would be measured of layers of shape (…, layer), °C."""
        return np.asarray(self.offset_c + layers_c @ self.row, dtype=np.float64)


def reading_of(event: DrumEvent) -> Reading:
    """Return the reading that a dip or a skin event carries."""
    on_wall = event.kind is EventKind.SKIN
    return Reading(
        c=float(event.data["c"]),
        sigma_k=float(event.data.get("sigma_k") or (SKIN_SIGMA_K if on_wall else DIP_SIGMA_K)),
        height_m=event.data.get("height_m"),
        on_wall=on_wall,
    )


def depth_of(*, mass_kg: float, density_kg_m3: float) -> float:
    """Depth, m, of the liquid as measured heights count in it."""
    return mass_kg / (density_kg_m3 * CROSS_SECTION_M2)


def height_row(height_m: float | None, *, depth_m: float) -> Floats:
    """Weights of the layers, shape (layer,), at a height above the bottom; mid-depth where None.

    A layer's temperature is its mean and holds at its middle; between the middles straight lines.
    """
    share = 0.5 if height_m is None or depth_m <= 0.0 else height_m / depth_m
    place = float(np.clip(share * LAYERS - 0.5, 0.0, LAYERS - 1))
    row = np.zeros(LAYERS)
    low = min(int(place), LAYERS - 2)
    row[low + 1] = place - low
    row[low] = 1.0 - row[low + 1]
    return row


def _off_height(height_m: float | None, *, layers: Floats, depth_m: float) -> float:
    """Return by how much (K) the height may be off in layered liquid, one standard deviation."""
    aim = MID_DEPTH_SIGMA_M if height_m is None else HEIGHT_SIGMA_M
    at = 0.5 * depth_m if height_m is None else height_m
    above, below = (height_row(at + off, depth_m=depth_m) @ layers for off in (aim, -aim))
    return 0.5 * abs(float(above - below))


def observe(reading: Reading, *, states: LiquidStates, beside: Beside) -> Observation:
    """Return how a reading sees the layers of the one drum in ``states``."""
    row = height_row(reading.height_m, depth_m=beside.depth_m)
    layers = states["layers"][0, LIKELY]
    known = np.isfinite(layers).all()
    noise = [reading.sigma_k]
    if known:
        noise.append(_off_height(reading.height_m, layers=layers, depth_m=beside.depth_m))
    if not reading.on_wall:
        return Observation(row, 0.0, _together(noise))
    if states["heat_until"][0] > beside.step and states["heat_w"][0] > 0.0:
        noise.append(HEATER_WALL_K)
    if not np.isfinite(beside.side_c):
        return Observation(row, 0.0, _together([*noise, UNKNOWN_AIR_K]))
    share = beside.liquid_share
    across = beside.side_c - float(row @ layers) if known else 0.0
    noise.append(share * (1.0 - share) * across * FILM_RATIO_SIGMA)
    noise.append((1.0 - share) * beside.sensor_error_k / TWO_SIDED_90)
    return Observation(row * share, (1.0 - share) * beside.side_c, _together(noise))


def _together(sigmas: Sequence[float]) -> float:
    """Return the standard deviation of a sum of independent errors."""
    return float(np.sqrt(np.sum(np.square(sigmas))))
