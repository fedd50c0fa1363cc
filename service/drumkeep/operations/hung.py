"""A sensor while it hangs somewhere, and what its readings are worth there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from drumkeep.storage.tables.catalogue import Calibration, Mount, Sensor

Floats = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True)
class Hung:
    """One sensor while it hangs in one spot of a place of a kind, with its calibrations."""

    mount: Mount
    sensor: Sensor
    calibrations: Sequence[Calibration]
    kind: PlaceKind

    @property
    def what(self) -> What:
        """What it measures there."""
        return What(self.mount.what)

    def since_ms(self) -> int:
        """Return when it was hung there, epoch ms."""
        return to_ms(self.mount.since)

    def until_ms(self) -> int | None:
        """Return when it was taken down, epoch ms; None while it hangs."""
        return None if self.mount.until is None else to_ms(self.mount.until)

    def ends_by(self, moment_ms: int) -> bool:
        """Say whether it was taken down by a time (epoch ms)."""
        until = self.until_ms()
        return until is not None and until <= moment_ms

    def during(self, times: Times) -> NDArray[np.bool_]:
        """Say which times (epoch ms) lie within the mount."""
        inside = times >= self.since_ms()
        until = self.until_ms()
        return inside if until is None else inside & (times < until)

    def series(self, times: Times, raw: Floats) -> SensorSeries:
        """Return the readings that were made there."""
        inside = self.during(times)
        here, given = times[inside], raw[inside]
        return SensorSeries(
            ts_ms=here,
            value_c=calibrated(here, given, calibrations=self.calibrations),
            interval_s=self.sensor.interval_s,
            error_k=self.sensor.error_k,
            until_ms=self.until_ms(),
            raw=given,
            what=self.what,
        )


def calibrated(times: Times, values: Floats, *, calibrations: Sequence[Calibration]) -> Floats:
    """Return true values: gain × raw + offset of the calibration that held at each time."""
    true = values.astype(np.float64)
    for calibration in sorted(calibrations, key=lambda c: c.since):
        later = times >= to_ms(calibration.since)
        true = np.where(later, calibration.gain * values + calibration.offset, true)
    return true
