"""Sensors that are none: the values of a CSV file, and a sine."""

import math
from collections.abc import Callable

from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.scenario import Curve


class CurveReplay:
    """Reads a curve at the present time.

    Parameters
    ----------
    curve
        What the sensor would have measured.
    clock
        Gives seconds on the curve's own time.
    """

    def __init__(self, curve: Curve, *, clock: Callable[[], float]) -> None:
        self._curve = curve
        self._clock = clock

    def read(self) -> float:
        """Return the value between the points around now."""
        value = self._curve.value_at(self._clock())
        if value is None:
            raise Unreadable("file has no value for now")
        return value


class Sine:
    """``mean + swing × sin(2π t / period)``."""

    def __init__(
        self, *, mean: float, swing: float, period_s: float, clock: Callable[[], float]
    ) -> None:
        self._mean, self._swing, self._period_s, self._clock = mean, swing, period_s, clock

    def read(self) -> float:
        """Return the value now."""
        phase = 2.0 * math.pi * self._clock() / self._period_s
        return round(self._mean + self._swing * math.sin(phase), 3)
