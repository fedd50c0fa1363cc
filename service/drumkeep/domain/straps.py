"""Sensors strapped to a drum, as the liquid takes them: one reading an hour of each.

An hour apart, because the same sensor errs alike each time: more of its readings say no more.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_MS, STEPS_PER_HOUR
from drumkeep.domain.liquid_observed import Reading

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

STRAP_STEPS: Final = STEPS_PER_HOUR
"""At each full hour the newest reading of the hour before counts."""

CONTACT_SIGMA_K: Final = 0.7
"""Of a strap on the skin beside the sensor's own error: contact, and what the insulation over it
lets through. The strap is taken to have insulation over it, so that it reads the wall and not the
air (our judgement)."""


@dataclass(frozen=True)
class Strap:
    """One sensor's trusted readings while mounted on a drum, calibrated: epoch ms, and °C."""

    sensor_id: int
    on_wall: bool
    ts_ms: Times
    value_c: Floats
    error_k: float
    height_m: float | None = None

    @property
    def sigma_k(self) -> float:
        """Standard deviation of what it reads, K; the sensor's error counts as one."""
        return float(np.hypot(self.error_k, CONTACT_SIGMA_K)) if self.on_wall else self.error_k


def strap_readings(
    straps: Sequence[Strap], *, first: int, last: int
) -> Iterator[tuple[int, Reading]]:
    """Yield the readings that count, each with its grid step, ``first`` … ``last`` inclusive."""
    steps = np.arange(-(-first // STRAP_STEPS) * STRAP_STEPS, last + 1, STRAP_STEPS)
    for strap in sorted(straps, key=lambda s: s.sensor_id):
        newest = np.searchsorted(strap.ts_ms, steps * STEP_MS, side="right") - 1
        for step, index in zip(steps.tolist(), newest.tolist(), strict=True):
            if index < 0 or strap.ts_ms[index] <= (step - STRAP_STEPS) * STEP_MS:
                continue
            yield (
                step,
                Reading(
                    c=float(strap.value_c[index]),
                    sigma_k=strap.sigma_k,
                    height_m=strap.height_m,
                    on_wall=strap.on_wall,
                    source=strap.sensor_id,
                    fixed=True,
                ),
            )
