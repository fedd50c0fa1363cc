"""March the liquid forward under air that is given ahead, and find when it reaches a limit."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.band import Band, band_of
from drumkeep.thermal.geometry import CROSS_SECTION_M2, PERIMETER_M
from drumkeep.thermal.kernel import march_all
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.parts import in_parts
from drumkeep.thermal.stratified import Liquid, depth, heat_capacity

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
    side_c: Floats | None = None,
    top_c: Floats | None = None,
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
    side_c, top_c, floor_c
        What side, top and bottom face, same shape; the air where None.
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
    side, top, floor = (air_c if given is None else given for given in (side_c, top_c, floor_c))
    if mixed:
        layers = _stirred(start_c, liquid=liquid, faced=(side, top, floor), step_s=step_s)
    else:
        layers = layers_over_time(
            start_c, liquid=liquid, side_c=side, top_c=top, floor_c=floor, step_s=step_s
        )
    return course_of(
        layers,
        air_c=air_c,
        drive_k=drive_k,
        sensor_error_k=sensor_error_k,
        step_s=step_s,
        start_known=start_known,
    )


def layers_over_time(
    start_c: Floats,
    *,
    liquid: Liquid,
    side_c: Floats,
    top_c: Floats,
    floor_c: Floats,
    step_s: float,
) -> Floats:
    """Return the layers at every step's end points, shape (time, 3, drum, layer).

    Parameters are those of :func:`march`.
    """
    shape = start_c.shape
    steps = side_c.shape[0]
    own = [np.broadcast_to(values, shape[:-1]) for values in liquid.each()]
    faced = [
        np.broadcast_to(np.moveaxis(values, 0, -1), (*shape[:-1], steps))
        for values in (side_c, top_c, floor_c)
    ]
    result = np.empty((*shape[:-1], steps, shape[-1]))

    def some(part: slice) -> None:
        number, *rest = (values[..., part] for values in own)
        march_all(
            start_c[..., part, :],
            liquid.tables,
            number,
            *rest,
            *(values[..., part, :] for values in faced),
            step_s,
            result[..., part, :, :],
        )

    in_parts(some, count=shape[-2], steps=steps)
    return np.moveaxis(result, -2, 0)


def course_of(
    layers_c: Floats,
    *,
    air_c: Floats,
    drive_k: Floats,
    sensor_error_k: Floats | float = 0.0,
    step_s: float,
    start_known: bool = False,
) -> Course:
    """Return the course that layers over time make, with its band.

    Parameters
    ----------
    layers_c
        Shape (time, 3, drum, layer).
    air_c, drive_k, sensor_error_k, step_s, start_known
        As in :func:`march`.
    """
    drive = _drive_over_time(layers_c, air_c=air_c, before_k=drive_k, step_s=step_s)
    seconds = np.arange(len(layers_c), dtype=np.float64) * step_s
    grown = 1.0 - np.exp(-seconds[:, None, None] / ERROR_GROWS_S) if start_known else 1.0
    band = band_of(
        np.moveaxis(layers_c, 1, 0), drive_k=drive, sensor_error_k=sensor_error_k, kept=grown
    )
    return Course(seconds=seconds, layers_c=layers_c, band=band)


def _stirred(start_c: Floats, *, liquid: Liquid, faced: Sequence[Floats], step_s: float) -> Floats:
    """One well-mixed node, layers of shape (time, 3, drum, 8): exact for air on straight lines."""
    steps = faced[0].shape[0] - 1
    layers = np.empty((steps + 1, *start_c.shape))
    layers[0] = start_c
    for i in range(steps):
        mean = layers[i].mean(axis=-1)
        height = depth(liquid, mean_c=mean)
        conductances = (
            liquid.side_w_m2k * PERIMETER_M * height,
            liquid.top_w_m2k * CROSS_SECTION_M2,
            liquid.bottom_w_m2k * CROSS_SECTION_M2,
        )
        total = sum(conductances)
        before, after = (
            sum(g * values[at] for g, values in zip(conductances, faced, strict=True)) / total
            for at in (i, i + 1)
        )
        tau = heat_capacity(liquid, mean_c=mean) / total
        slope = (after - before) / step_s
        lag = slope * tau
        end = after - lag + (mean - before + lag) * np.exp(-step_s / tau)
        layers[i + 1] = end[..., None]
    return layers


def _drive_over_time(layers: Floats, *, air_c: Floats, before_k: Floats, step_s: float) -> Floats:
    """Largest |air − mean| of the six hours up to each time, shape (time, drum)."""
    difference = np.abs(air_c - layers.mean(axis=-1)).max(axis=1)
    window = max(int(DRIVE_WINDOW_S // step_s), 1) + 1
    # what drove the drum before the start still counts for its six hours
    earlier = np.broadcast_to(before_k, (window, difference.shape[1]))
    padded = np.concatenate([earlier, difference])
    return np.asarray(_running_maximum(padded, length=window + 1), dtype=np.float64)


def _running_maximum(values: Floats, *, length: int) -> Floats:
    """Largest of each ``length`` consecutive rows, by blocks: two passes whatever the length."""
    count = values.shape[0] - length + 1
    blocks = -(-values.shape[0] // length)
    padded = np.full((blocks * length, values.shape[1]), -np.inf)
    padded[: values.shape[0]] = values
    folded = padded.reshape(blocks, length, -1)
    onward = np.maximum.accumulate(folded, axis=1).reshape(padded.shape)
    back = np.maximum.accumulate(folded[:, ::-1], axis=1)[:, ::-1].reshape(padded.shape)
    return np.maximum(back[:count], onward[length - 1 : length - 1 + count])


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
