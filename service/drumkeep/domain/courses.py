"""A drum's liquid over a span of time, and what it came to: extremes, means, hours beyond a limit.

Between the points on record the liquid is taken to go straight; it takes hours to go anywhere.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEPS_PER_HOUR

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Course:
    """What was computed of one drum at grid steps, in order; °C, NaN where nothing was known.

    ``low`` and ``high`` are the coldest and warmest that any of it may have been, ``known`` whether
    the point counts as known, ``coldest`` the lowest likely bottom up to the point, which was
    followed in steps of five minutes and begins anew after some looks.
    """

    steps: NDArray[np.int64]
    bottom: Floats
    mean: Floats
    top: Floats
    low: Floats
    high: Floats
    known: NDArray[np.bool_]
    coldest: Floats


@dataclass(frozen=True, slots=True)
class Span:
    """What a course came to from one step to another; °C, None where nothing was known of it.

    ``unknown_h`` are the hours, of ``hours``, that did not count as known; ``apart_h`` how far the
    points on which it rests lie apart at most.
    """

    hours: float
    unknown_h: float
    apart_h: float
    bottom_min_c: float | None = None
    bottom_mean_c: float | None = None
    bottom_max_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None


@dataclass(frozen=True, slots=True)
class Beyond:
    """Hours that the liquid spent beyond a limit: likely, and possibly, by the edge of its band."""

    likely_h: float
    possible_h: float


def span_of(course: Course, *, first: int, last: int) -> Span:
    """Return what a course came to from step ``first`` to ``last``."""
    hours = (last - first) / STEPS_PER_HOUR
    found = _between(course, first=first, last=last)
    if found is None:
        return Span(hours=hours, unknown_h=hours, apart_h=hours)
    steps = found.steps
    width = np.diff(steps)
    unknown = width[~(found.known[:-1] & found.known[1:])].sum() if len(width) else 0
    inside = (course.steps > first) & (course.steps <= last)
    before = np.concatenate([[np.inf], course.coldest[:-1]])
    followed = course.coldest[inside & (course.coldest < before)]
    bottoms = np.concatenate([found.bottom, followed])
    return Span(
        hours=hours,
        unknown_h=float(unknown) / STEPS_PER_HOUR,
        apart_h=float(width.max()) / STEPS_PER_HOUR if len(width) else 0.0,
        bottom_min_c=float(bottoms.min()),
        bottom_mean_c=_mean(steps, found.bottom),
        bottom_max_c=float(found.bottom.max()),
        low_c=float(min(found.low.min(), bottoms.min())),
        high_c=float(found.high.max()),
    )


def under(course: Course, *, first: int, last: int, limit_c: float) -> Beyond:
    """Return how long the bottom was under a limit."""
    found = _between(course, first=first, last=last)
    if found is None:
        return Beyond(0.0, 0.0)
    return Beyond(
        _hours_under(found.steps, found.bottom, limit_c),
        _hours_under(found.steps, found.low, limit_c),
    )


def over(course: Course, *, first: int, last: int, limit_c: float) -> Beyond:
    """Return how long the mean was over a limit; possibly: how long any of it may have been."""
    found = _between(course, first=first, last=last)
    if found is None:
        return Beyond(0.0, 0.0)
    return Beyond(
        _hours_under(found.steps, -found.mean, -limit_c),
        _hours_under(found.steps, -found.high, -limit_c),
    )


def _between(course: Course, *, first: int, last: int) -> Course | None:
    """Return the part between two steps, with points at its ends; None where none is on record."""
    ok = np.isfinite(course.bottom)
    if not ok.any() or course.steps[ok][0] > last:
        return None
    steps = course.steps[ok]
    inside = steps[(steps > first) & (steps < last)]
    # Before the first point nothing is made up: the part begins there.
    begin, end = max(first, int(steps[0])), max(int(steps[0]), min(last, int(steps[-1])))
    told = np.unique(np.concatenate([[begin], inside, [end]]).astype(np.int64))

    def at(values: Floats) -> Floats:
        return np.interp(told, steps, values[ok])

    known = course.known[ok][np.clip(np.searchsorted(steps, told), 0, len(steps) - 1)]
    return Course(
        steps=told,
        bottom=at(course.bottom),
        mean=at(course.mean),
        top=at(course.top),
        low=at(course.low),
        high=at(course.high),
        known=known,
        coldest=at(np.where(np.isfinite(course.coldest), course.coldest, course.bottom)),
    )


def _mean(steps: NDArray[np.int64], values: Floats) -> float:
    if len(steps) == 1:
        return float(values[0])
    return float(np.trapezoid(values, steps) / (steps[-1] - steps[0]))


def _hours_under(steps: NDArray[np.int64], values: Floats, limit: float) -> float:
    """Return how long a line of straight pieces lies under a limit, h."""
    start, end = values[:-1] - limit, values[1:] - limit
    apart = np.abs(start) + np.abs(end)
    crossed = np.where(np.minimum(start, end) < 0.0, -np.minimum(start, end), 0.0)
    share = np.where(
        (start < 0.0) & (end < 0.0),
        1.0,
        np.divide(crossed, apart, where=apart > 0.0, out=0 * apart),
    )
    return float((share * np.diff(steps)).sum() / STEPS_PER_HOUR)
