"""What lies ahead of each drum: the same liquid model under the air to come.

Alarms look at the likely air; "ready at" takes the slow case: the slow set in the coldest air of
the band, the fast one in the hottest. A start that is in doubt stays in the band until it has faded
as it does in the present.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead
from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.liquid_state import LiquidStates, sets_first
from drumkeep.domain.liquid_surroundings import doubt_seconds, liquid_of
from drumkeep.domain.products import Product
from drumkeep.thermal.band import Band
from drumkeep.thermal.boundary import Exposure
from drumkeep.thermal.drive import drive_of
from drumkeep.thermal.march import Course, march
from drumkeep.thermal.parameter_sets import FAST, NAMED_SETTING, SETS, SLOW, spread_out
from drumkeep.thermal.stratified import Liquid

Floats = NDArray[np.float64]

STEP_S: Final = float(STRIDE * STEP_SECONDS)
ALARM_HOURS: Final = 12
READY_HOURS: Final = 96


@dataclass(frozen=True)
class Prospect:
    """Drums in some place each, for a look ahead: arrays over drums."""

    states: LiquidStates
    products: Sequence[Product]
    films: Sequence[Exposure]
    ahead: Sequence[AirAhead]
    share: Floats

    @cached_property
    def likely(self) -> Liquid:
        """The likely liquid and films of each drum."""
        return liquid_of(
            self.products,
            mass_kg=self.states["mass_kg"],
            films=self.films,
            share=self.share,
        )

    def doubt_after(self, seconds: Floats) -> Floats:
        """Return what is left of each drum's doubt later, K, shape (time, drum)."""
        left = np.exp(-seconds[:, None] / doubt_seconds(self.likely))
        return np.asarray(self.states["doubt_k"] * left, dtype=np.float64)

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
        mean = self.states["layers"].mean(axis=(1, 2))
        air = self._air(hours * PER_HOUR + 1, mean_c=mean, pessimist=pessimist)
        found = march(
            sets_first(self.states),
            liquid=spread_out(self.likely, spread=NAMED_SETTING),
            air_c=air,
            drive_k=drive_of(self.states["ring"]),
            sensor_error_k=np.array([a.error_k for a in self.ahead]),
            step_s=STEP_S,
        )
        apart = np.abs((found.layers_c[:, FAST] - found.layers_c[:, SLOW]).mean(axis=-1))
        hidden = 0.5 * np.maximum(self.doubt_after(found.seconds) - apart, 0.0)
        return replace(found, band=_wider(found.band, by_k=hidden))

    def _air(self, count: int, *, mean_c: Floats, pessimist: bool) -> Floats:
        """Air of each set and drum, °C, shape (time, 3, drum)."""
        # Places are few and drums many: each place's air is laid out once.
        airs = {id(ahead): ahead for ahead in self.ahead}
        column = {key: number for number, key in enumerate(airs)}
        at = np.array([column[id(ahead)] for ahead in self.ahead], dtype=np.intp)

        def spread(name: str) -> Floats:
            return np.stack([getattr(a, name)[:count] for a in airs.values()], axis=-1)[:, at]

        likely = spread("likely")
        likely = np.where(np.isfinite(likely), likely, mean_c)
        if not pessimist:
            return np.repeat(likely[:, None, :], SETS, axis=1)
        low, high = spread("low"), spread("high")
        # what drives a drum now is known; the band is of what comes
        low[0] = high[0] = likely[0]
        return np.stack([low, likely, high], axis=1)


def _wider(band: Band, *, by_k: Floats) -> Band:
    lower = {name: getattr(band, name) - by_k for name in ("bottom_low", "mean_low", "top_low")}
    upper = {name: getattr(band, name) + by_k for name in ("bottom_high", "mean_high", "top_high")}
    return replace(band, **lower, **upper)


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


def first_perhaps_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which all liquid may lie inside; −1 where it never may."""
    inside = (band.bottom_high >= low_c) & (band.top_low <= high_c)
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
