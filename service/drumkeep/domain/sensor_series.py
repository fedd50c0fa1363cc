"""Readings of one sensor while it hangs in one spot, as the rules take them."""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.sensors import What

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

_SHADE_W_M2: Final = 150.0
"""A mast or a cloud shades one of two sensors for a while. Common practice, no source."""


@dataclass(frozen=True)
class SensorSeries:
    """One sensor's readings while mounted there, calibrated: epoch ms ascending, and °C or %.

    It has a say from its first reading there until it is taken down, at ``until_ms``.

    Attributes
    ----------
    ts_ms, value_c
        Shape (reading,).
    interval_s
        What it is set to measure at, s.
    error_k
        Its stated error, K.
    until_ms
        When it was taken down, epoch ms; None while it hangs.
    raw
        As the sensor gave it, shape (reading,); left out where there is no calibration.
    what
        What it measures there.
    strayed_k
        How far what it measures strayed within the quarter of an hour of each reading, half of
        highest less lowest, K, shape (reading,): of old readings, thinned to one in a quarter,
        which then say the mean of all. None where none was thinned.
    stuck
        Spans over which it stands still while what it measures does not (``domain.constancy``):
        epoch ms, the end None while it does; they reach back further than the readings here.
    """

    ts_ms: Times
    value_c: Floats
    interval_s: float
    error_k: float
    until_ms: int | None = None
    raw: Floats | None = None
    what: What = What.AIR
    strayed_k: Floats | None = None
    stuck: tuple[tuple[int, int | None], ...] = field(default=())

    @property
    def leeway(self) -> float:
        """What it may differ by from another of its place, beside what air differs by there."""
        return self.error_k + (_SHADE_W_M2 if self.what is What.SUN else 0.0)

    def as_given(self) -> Floats:
        """Return the values as the sensor gave them."""
        return self.value_c if self.raw is None else self.raw
