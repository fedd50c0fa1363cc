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


def stand_apart(lines: Floats, *, sound: Flags, error_k: Sequence[float]) -> Flags:
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
    Flags
        Whether each stands apart, shape (sensor, step − APART_STEPS).
    """
    told = np.where(sound, lines, np.nan)
    # a step at which one says nothing makes its mean, and all that is set against it, NaN
    means = np.lib.stride_tricks.sliding_window_view(told, APART_STEPS + 1, axis=1).mean(axis=-1)
    errors = np.asarray(error_k, dtype=np.float64)
    apart = np.zeros(means.shape, dtype=np.bool_)
    for row, mean in enumerate(means):
        off = np.abs(np.delete(means, row, axis=0) - mean)
        limit = APART_K + errors[row] + np.delete(errors, row)
        spoken = np.isfinite(off).sum(axis=0)
        apart[row] = (off > limit[:, None]).sum(axis=0) > spoken / 2.0
    return apart


def others_say(lines: Floats, *, sound: Flags, row: int) -> Floats:
    """Return the median of all sensors of a place but one, shape (step,); NaN where none has a say.

    Parameters
    ----------
    lines, sound
        What each says and where it has a say, shape (sensor, step).
    row
        The one that is left out.
    """
    if len(lines) == 1:
        return np.full(lines.shape[1], np.nan)
    return median_of(np.delete(np.where(sound, lines, np.nan), row, axis=0))


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
