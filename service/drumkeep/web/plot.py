"""Geometry of a plot of curves, drawn as the air line is: ink, hairlines, words beside the lines.

Curves are worked out in a box of ``WIDE`` × ``TALL`` that stretches with the page; words are placed
in per cent of its width, so that they never stretch.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from math import log10
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Stroke = Literal["bold", "plain", "dashed", "dotted", "hair"]

WIDE: Final = 1000.0
TALL: Final = 220.0
_MARGIN: Final = 10.0
_LEFT: Final = 15.0
_RIGHT: Final = 85.0
"""Words that begin left of this, in per cent, run on to the right; beyond that, to the left."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A line through points, with its name at a share of its length, above the line or below."""

    name: str
    x: Floats
    y: Floats
    stroke: Stroke = "plain"
    name_at: float = 0.5
    below: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """What lies between two lines."""

    x: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """What is to be drawn, and said of it.

    ``lines`` are the values of the hairlines across, ``ticks`` those of the marks below, each with
    words; ``steep``: the logarithm of y is drawn. ``numbers`` is the same as a table: a heading for
    each column, then its rows.
    """

    key: str
    title: str
    x_name: str
    y_name: str
    curves: tuple[Curve, ...]
    ticks: tuple[tuple[float, str], ...]
    lines: tuple[tuple[float, str], ...]
    areas: tuple[Area, ...] = ()
    steep: bool = False
    numbers: tuple[tuple[str, ...], ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """Words on the drawing: ``x`` in per cent, ``y`` in pixels."""

    x: float
    y: float
    text: str
    anchor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """All that the plot macro draws: paths with their strokes, hairlines, words."""

    paths: tuple[tuple[Stroke, str], ...]
    areas: tuple[str, ...]
    lines: tuple[tuple[float, str], ...]
    ticks: tuple[Word, ...]
    names: tuple[Word, ...]


def drawing(plot: Plot) -> Drawing:
    """Work out a plot."""
    scale: Callable[[float], float] = log10 if plot.steep else float
    across = [value for value, _ in plot.ticks]
    across += [float(end) for c in plot.curves for end in (c.x[0], c.x[-1])]
    x0, x1 = min(across), max(across)
    heights = [scale(float(v)) for c in plot.curves for v in c.y]
    heights += [scale(value) for value, _ in plot.lines]
    heights += [scale(float(v)) for a in plot.areas for v in (*a.low, *a.high)]
    low, high = min(heights), max(heights)

    def x(value: float) -> float:
        return round(WIDE * (value - x0) / (x1 - x0), 1)

    def y(value: float) -> float:
        share = (high - scale(value)) / (high - low)
        return round(_MARGIN + (TALL - 2.0 * _MARGIN) * share, 1)

    def path(xs: Iterable[float], ys: Iterable[float]) -> str:
        points = (f"{x(float(a))} {y(float(b))}" for a, b in zip(xs, ys, strict=True))
        return "M" + "L".join(points)

    return Drawing(
        paths=tuple((curve.stroke, path(curve.x, curve.y)) for curve in plot.curves),
        areas=tuple(path([*a.x, *a.x[::-1]], [*a.high, *a.low[::-1]]) + "Z" for a in plot.areas),
        lines=tuple((y(value), words) for value, words in plot.lines),
        ticks=tuple(_word(x(value) / 10.0, 0.0, words) for value, words in plot.ticks),
        names=tuple(_name(curve, x=x, y=y) for curve in plot.curves if curve.name),
    )


def _name(curve: Curve, *, x: Callable[[float], float], y: Callable[[float], float]) -> Word:
    at = min(round(curve.name_at * (len(curve.x) - 1)), len(curve.x) - 1)
    place, height = x(float(curve.x[at])) / 10.0, y(float(curve.y[at]))
    return _word(place, height + 16.0 if curve.below else height - 6.0, curve.name)


def _word(x: float, y: float, text: str) -> Word:
    anchor = "start" if x < _LEFT else "end" if x > _RIGHT else "middle"
    return Word(x=round(x, 2), y=round(y, 1), text=text, anchor=anchor)


def table(headings: Sequence[str], columns: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    """Return headings and columns as the rows of a table."""
    return (tuple(headings), *(tuple(row) for row in zip(*columns, strict=True)))
