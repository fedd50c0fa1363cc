"""Sensors of one place beside one another: their median, and which of them stand apart."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

APART_K: Final = 4.0
"""So far may two sensors of one place differ, beside their own errors: near the roof or a door air
is not what it is at the drums."""
APART_STEPS: Final = 12
"""For as long as this, five-minute steps: an hour."""


def stand_apart(lines: Floats, *, sound: Flags, error_k: Sequence[float]) -> tuple[Flags, Floats]:
    """Say which sensors of a place stand apart from most of its others.

    Two do from one another where over the last hour they differed in the mean by more than
    :data:`APART_K` and the errors of both.

    Parameters
    ----------
    lines
        What each sensor says on the grid, shape (sensor, step), :data:`APART_STEPS` steps more at
        the beginning than are answered.
    sound
        Where each has a say, shape (sensor, step).
    error_k
        Error of each, K, shape (sensor,).

    Returns
    -------
    tuple[Flags, Floats]
        Whether each stands apart, and the median of the others; shape (sensor, step −
        APART_STEPS).
    """
    sensors, steps = lines.shape
    shape = (sensors, steps - APART_STEPS)
    others_say = np.full(shape, np.nan)
    differing, spoken = np.zeros(shape), np.zeros(shape)
    told = np.where(sound, lines, np.nan)
    for row in range(sensors):
        for other in range(row):
            off = np.lib.stride_tricks.sliding_window_view(
                told[row] - told[other], APART_STEPS + 1
            ).mean(axis=1)
            # a step at which either says nothing makes the mean NaN
            both = np.isfinite(off)
            differ = np.abs(off) > APART_K + error_k[row] + error_k[other]
            for one in (row, other):
                spoken[one] += both
                differing[one] += both & differ
        if sensors > 1:
            others_say[row] = median_of(np.delete(told, row, axis=0))[APART_STEPS:]
    return np.asarray(differing > spoken / 2.0, dtype=np.bool_), others_say


def median_of(lines: Floats) -> Floats:
    """Median over sensors at each step of those that have a value; NaN where none has.

    Parameters
    ----------
    lines
        Shape (sensor, step).
    """
    if len(lines) == 1:
        return np.asarray(lines[0], dtype=np.float64)
    found = np.full(lines.shape[1], np.nan)
    some = np.isfinite(lines).any(axis=0)
    if some.any():
        found[some] = np.nanmedian(lines[:, some], axis=0)
    return found
