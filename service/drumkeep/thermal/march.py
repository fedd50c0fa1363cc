"""March the liquid forward under air that is given ahead, and find when it reaches a limit."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.band import Band, band_of
from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import Liquid, advance, depth, heat_capacity

Floats = NDArray[np.float64]

DRIVE_WINDOW_S: Final = 6 * 3600.0

ERROR_GROWS_S: Final = 900.0
"""Time constant of the model's error from a known start: the fine-grid curves show its full size
within the first hour."""


@dataclass(frozen=True)
class Course:
    """Layers of drums over time.

    ``seconds`` has shape (time,); ``layers_c`` (time, set, drum, 8); ``band`` arrays (time, drum).
    """

    seconds: Floats
    layers_c: Floats
    band: Band


def march(
    start_c: Floats,
    *,
    liquid: Liquid,
    air_c: Floats,
    floor_c: Floats | None = None,
    drive_k: Floats,
    sensor_error_k: Floats | float = 0.0,
    step_s: float,
    mixed: bool = False,
    start_known: bool = False,
) -> Course:
    """March every drum through the air it is given.

    Parameters
    ----------
    start_c
        Layers now, °C, shape (3, drum, 8).
    liquid
        Properties and films, broadcasting to (3, drum).
    air_c
        Air at every step's end points, °C, shape (time, set, drum); the axes may be 1.
    floor_c
        What the bottom faces, same shape; the air where None.
    drive_k
        Largest |air − mean| of the last six hours before the start, K, shape (drum,).
    sensor_error_k
        Passed on to the band.
    step_s
        Step, s.
    mixed
        Treat the liquid as one node under running agitation (outside films only).
    start_known
        The start is given, not computed: the model's error then grows from nothing.
    """
    floor = air_c if floor_c is None else floor_c
    steps = air_c.shape[0] - 1
    layers = np.empty((steps + 1, *start_c.shape))
    layers[0] = start_c
    for i in range(steps):
        if mixed:
            layers[i + 1] = _stir(layers[i], liquid=liquid, air_c=air_c[i : i + 2], seconds=step_s)
        else:
            layers[i + 1] = advance(
                layers[i],
                liquid=liquid,
                air_c=0.5 * (air_c[i] + air_c[i + 1]),
                floor_c=0.5 * (floor[i] + floor[i + 1]),
                seconds=step_s,
            )
    drive = _drive_over_time(layers, air_c=air_c, before_k=drive_k, step_s=step_s)
    seconds = np.arange(steps + 1) * step_s
    grown = 1.0 - np.exp(-seconds[:, None] / ERROR_GROWS_S) if start_known else 1.0
    band = band_of(
        np.moveaxis(layers, 1, 0), drive_k=drive, sensor_error_k=sensor_error_k, kept=grown
    )
    return Course(seconds=seconds, layers_c=layers, band=band)


def _stir(layers_c: Floats, *, liquid: Liquid, air_c: Floats, seconds: float) -> Floats:
    """One well-mixed step: exact for air that moves on a straight line."""
    conductance = liquid.side_w_m2k * PERIMETER_M * depth(liquid) + CROSS_SECTION_M2 * (
        liquid.top_w_m2k + liquid.bottom_w_m2k
    )
    tau = heat_capacity(liquid) / conductance
    slope = (air_c[1] - air_c[0]) / seconds
    mean = layers_c.mean(axis=-1)
    lagged = air_c[0] - slope * tau
    after = air_c[1] - slope * tau + (mean - lagged) * np.exp(-seconds / tau)
    return np.asarray(np.broadcast_to(after[..., None], layers_c.shape), dtype=np.float64)


def _drive_over_time(layers: Floats, *, air_c: Floats, before_k: Floats, step_s: float) -> Floats:
    """Largest |air − mean| of the six hours up to each time, shape (time, drum)."""
    difference = np.abs(air_c - layers.mean(axis=-1)).max(axis=1)
    window = max(int(DRIVE_WINDOW_S // step_s), 1)
    drive: Floats = np.empty(difference.shape)
    for i in range(difference.shape[0]):
        recent = difference[max(0, i - window) : i + 1].max(axis=0)
        # what drove the drum before the start still counts for its six hours
        drive[i] = np.maximum(recent, before_k) if i <= window else recent
    return drive


def first_at_or_above(values: Floats, *, limit: float | Floats) -> Floats:
    """Index (fractional, by straight lines) of the first value ≥ limit; NaN where never.

    ``values`` has shape (time, drum), ``limit`` is a number or (drum,).
    """
    beyond = values >= limit
    first = beyond.argmax(axis=0)
    never = ~beyond.any(axis=0)
    columns = np.arange(values.shape[1])
    after = values[first, columns]
    before = values[np.maximum(first - 1, 0), columns]
    rise = after - before
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(rise > 0.0, (np.asarray(limit) - before) / rise, 1.0)
    index = np.where(first == 0, 0.0, first - 1 + np.clip(share, 0.0, 1.0))
    return np.where(never, np.nan, index)


def first_at_or_below(values: Floats, *, limit: float | Floats) -> Floats:
    """Index (fractional) of the first value ≤ limit; NaN where never."""
    return first_at_or_above(-values, limit=-np.asarray(limit))


@dataclass(frozen=True)
class Reach:
    """Hours until one drum's liquid reaches a target; None where it never does in the course."""

    target_c: float
    bottom_h: float | None
    mean_h: float | None
    slow_h: float | None
    fast_h: float | None


def reach_of(course: Course, *, target_c: float, drum: int = 0) -> Reach:
    """First crossings of a target, either way.

    ``fast_h`` is when any plausible liquid first crosses, ``slow_h`` the hour from which all
    plausible liquid has.
    """
    band = course.band
    hours_per_step = (course.seconds[1] - course.seconds[0]) / 3600.0

    def crossing(values: Floats, *, warming: bool) -> float | None:
        column = values[:, drum : drum + 1]
        find = first_at_or_above if warming else first_at_or_below
        index = float(find(column, limit=target_c)[0])
        return None if np.isnan(index) else index * hours_per_step

    def own(values: Floats) -> float | None:
        return crossing(values, warming=bool(values[0, drum] <= target_c))

    warming = bool(band.mean[0, drum] <= target_c)
    return Reach(
        target_c=target_c,
        bottom_h=own(band.bottom),
        mean_h=own(band.mean),
        fast_h=crossing(band.high if warming else band.low, warming=warming),
        slow_h=crossing(band.low if warming else band.high, warming=warming),
    )


def likely_layers(course: Course, *, drum: int = 0) -> Floats:
    """Likely layers of one drum over time, shape (time, 8)."""
    return np.asarray(course.layers_c[:, LIKELY, drum], dtype=np.float64)
