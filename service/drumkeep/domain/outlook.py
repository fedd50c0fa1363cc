"""What lies ahead of each drum: the same liquid model under the air to come.

Air ahead, first version: a warm room at its set point ± 1 K, elsewhere the last 24 h repeated
± 3 K. Alarms look at the likely air; "ready at" takes the slow case.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import PlaceAir
from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.liquid_state import LiquidStates, sets_first
from drumkeep.domain.liquid_surroundings import liquid_of
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product
from drumkeep.thermal.band import Band
from drumkeep.thermal.boundary import Exposure
from drumkeep.thermal.drive import drive_of
from drumkeep.thermal.march import Course, march
from drumkeep.thermal.parameter_sets import NAMED_SETTING, SETS, spread_out

Floats = NDArray[np.float64]

STRIDE: Final = 3
"""Grid steps in one forecast step: 15 minutes."""

STEP_S: Final = float(STRIDE * STEP_SECONDS)
PER_HOUR: Final = 4
ALARM_HOURS: Final = 12
READY_HOURS: Final = 96

WARM_ROOM_K: Final = 1.0
ELSEWHERE_K: Final = 3.0

_DAY_STEPS: Final = 24 * 12


@dataclass(frozen=True)
class AirAhead:
    """Air to come at a place every 15 minutes from now, °C, and how far off it may be, K."""

    likely: Floats
    either_way_k: float
    error_k: float


def air_ahead(
    *, kind: PlaceKind, set_point_c: float | None, air: PlaceAir, now_step: int, hours: int
) -> AirAhead:
    """Return the air to come.

    Parameters
    ----------
    kind, set_point_c
        A warm room with a set point is held at it.
    air
        The place's air, at least the 24 h up to ``now_step``; NaN where never known.
    now_step
        Grid step of the present.
    hours
        How far to look.
    """
    count = hours * PER_HOUR + 1
    if kind is PlaceKind.WARM_ROOM and set_point_c is not None:
        likely = np.full(count, set_point_c)
        latest = float(air.window(first=now_step, last=now_step)[0])
        if np.isfinite(latest):
            likely[0] = latest
        return AirAhead(likely=likely, either_way_k=WARM_ROOM_K, error_k=air.error_at(now_step))
    day = air.window(first=max(now_step - _DAY_STEPS, air.first), last=now_step)
    ahead = np.arange(count) * STRIDE
    # the last day over again: step s ahead looks like step s − 24 h
    likely = day[(ahead - 1) % (len(day) - 1) + 1 if len(day) > 1 else np.zeros_like(ahead)]
    likely[0] = day[-1]
    return AirAhead(likely=likely, either_way_k=ELSEWHERE_K, error_k=air.error_at(now_step))


@dataclass(frozen=True)
class Prospect:
    """Drums in some place each, for a look ahead: arrays over drums."""

    states: LiquidStates
    products: Sequence[Product]
    films: Sequence[Exposure]
    ahead: Sequence[AirAhead]
    share: Floats

    def course(self, *, hours: int, pessimist: bool) -> Course:
        """March all drums ahead.

        Parameters
        ----------
        hours
            How far.
        pessimist
            Give the slow set the coldest and the fast set the hottest plausible air, instead of
            the likely air to all.
        """
        count = hours * PER_HOUR + 1
        likely = np.stack([a.likely[:count] for a in self.ahead], axis=-1)
        mean = self.states["layers"].mean(axis=(1, 2))
        likely = np.where(np.isfinite(likely), likely, mean)
        off = np.array([a.either_way_k for a in self.ahead])
        air = np.repeat(likely[:, None, :], SETS, axis=1)
        if pessimist:
            air[1:, 0] -= off
            air[1:, -1] += off
        liquid = spread_out(
            liquid_of(
                self.products,
                mass_kg=self.states["mass_kg"],
                films=self.films,
                share=self.share,
            ),
            spread=NAMED_SETTING,
        )
        return march(
            sets_first(self.states),
            liquid=liquid,
            air_c=air,
            drive_k=drive_of(self.states["ring"]),
            sensor_error_k=np.array([a.error_k for a in self.ahead]),
            step_s=STEP_S,
        )


def first_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which the whole band lies inside; −1 where it never does.

    Parameters
    ----------
    band
        Arrays of shape (time, drum).
    low_c, high_c
        The use band of each drum, °C, shape (drum,).
    """
    inside = (band.low >= low_c) & (band.high <= high_c)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


def mixed_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which the mean's band lies inside: ready once mixed."""
    inside = (band.mean_low >= low_c) & (band.mean_high <= high_c)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


def first_below(band: Band, *, limit_c: Floats) -> NDArray[np.intp]:
    """Index of the first time the low bottom is under the limit; −1 where never."""
    under = band.bottom_low < limit_c
    return np.where(under.any(axis=0), under.argmax(axis=0), -1)


def steps_below(band: Band, *, limit_c: Floats) -> NDArray[np.intp]:
    """How many of the 15-minute steps the low bottom is under the limit."""
    return np.asarray((band.bottom_low < limit_c).sum(axis=0), dtype=np.intp)
