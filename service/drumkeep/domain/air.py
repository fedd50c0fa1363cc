"""Air of a place on the grid: median of its trusted sensors, and what is known of a gap.

Straight lines between readings over short gaps. Over longer ones no data is not good news: the
likely case keeps the straight line, slow and fast take the lowest and highest air of the last seven
days, and nothing that rests on it is called ready.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_MS
from drumkeep.domain.places import PlaceKind, gap_limit_seconds

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER_SEEN_LOW_C: Final = -20.0
NEVER_SEEN_HIGH_C: Final = 40.0
"""Air where no sensor ever was: nothing is ruled out."""

CLIMATOLOGY_DAYS: Final = 7


@dataclass(frozen=True)
class SensorSeries:
    """One sensor's readings while mounted there, calibrated: epoch ms ascending, and °C."""

    ts_ms: Times
    value_c: Floats
    interval_s: float
    error_k: float


@dataclass(frozen=True)
class PlaceAir:
    """Air of a place at grid steps ``first`` … ``first + len − 1``, °C.

    ``likely`` is NaN where no sensor ever was. ``known`` says where ``low`` and ``high`` are the
    likely air itself. ``supported_to_ms`` is the earliest of the newest readings of the sensors
    trusted at the end.
    """

    first: int
    likely: Floats
    low: Floats
    high: Floats
    known: Flags
    supported_to_ms: int | None
    error_k: float

    def window(self, *, first: int, last: int) -> Floats:
        """Likely air at steps ``first`` … ``last``, °C."""
        return self.likely[first - self.first : last - self.first + 1]


def place_air(
    series: Sequence[SensorSeries],
    *,
    kind: PlaceKind,
    first: int,
    last: int,
    extremes: Callable[[int], tuple[float, float] | None],
) -> PlaceAir:
    """Put a place's air on the grid.

    Parameters
    ----------
    series
        Readings of the air sensors mounted there; those before ``first`` help to bridge.
    kind
        Sets the longest gap that a straight line may bridge.
    first, last
        Grid steps, inclusive.
    extremes
        Lowest and highest air (°C) on record over the seven days up to a time in epoch ms; asked
        only for the last reading before a gap.
    """
    times = np.arange(first, last + 1, dtype=np.int64) * STEP_MS
    series = [s for s in series if len(s.ts_ms)]
    if not series:
        nowhere = np.full(len(times), np.nan)
        return PlaceAir(
            first=first,
            likely=nowhere,
            low=np.full(len(times), NEVER_SEEN_LOW_C),
            high=np.full(len(times), NEVER_SEEN_HIGH_C),
            known=np.zeros(len(times), dtype=np.bool_),
            supported_to_ms=None,
            error_k=1.0,
        )
    lines = np.stack([np.interp(times, s.ts_ms, s.value_c) for s in series])
    trusted = np.stack([_trusted(s, kind=kind, times=times) for s in series])
    known = np.asarray(trusted.any(axis=0), dtype=np.bool_)
    likely = _median(lines, trusted=trusted | ~known)
    low, high = likely.copy(), likely.copy()
    if not known.all():
        _widen(low, high, unknown=~known, series=series, times=times, extremes=extremes)
    newest = [int(s.ts_ms[-1]) for s, good in zip(series, trusted[:, -1], strict=True) if good]
    return PlaceAir(
        first=first,
        likely=likely,
        low=low,
        high=high,
        known=known,
        supported_to_ms=min(newest) if newest else max(int(s.ts_ms[-1]) for s in series),
        error_k=min(s.error_k for s in series),
    )


def _widen(
    low: Floats,
    high: Floats,
    *,
    unknown: Flags,
    series: Sequence[SensorSeries],
    times: Times,
    extremes: Callable[[int], tuple[float, float] | None],
) -> None:
    """Let ``low`` and ``high`` take the week's extremes where the air is not known, in place.

    The week ends at the last reading before each step, so that the answer does not depend on
    where a computation began.
    """
    read = np.unique(np.concatenate([s.ts_ms for s in series]))
    last = np.searchsorted(read, times, side="right") - 1
    for index in np.unique(last[unknown]):
        found = extremes(int(read[index])) if index >= 0 else None
        least, most = found or (NEVER_SEEN_LOW_C, NEVER_SEEN_HIGH_C)
        here = unknown & (last == index)
        low[here] = np.minimum(low[here], least)
        high[here] = np.maximum(high[here], most)


def _trusted(series: SensorSeries, *, kind: PlaceKind, times: Times) -> Flags:
    """Where a straight line between this sensor's readings, or its last value held, may stand."""
    limit_ms = gap_limit_seconds(kind=kind, interval_s=series.interval_s) * 1000.0
    ts = series.ts_ms
    after = np.searchsorted(ts, times, side="left")
    before = np.searchsorted(ts, times, side="right") - 1
    has_before, has_after = before >= 0, after < len(ts)
    left = ts[np.maximum(before, 0)]
    right = np.where(has_after, ts[np.minimum(after, len(ts) - 1)], times)
    return np.asarray(has_before & (right - left <= limit_ms), dtype=np.bool_)


def _median(lines: Floats, *, trusted: Flags) -> Floats:
    if len(lines) == 1:
        return np.asarray(lines[0], dtype=np.float64)
    return np.asarray(np.nanmedian(np.where(trusted, lines, np.nan), axis=0), dtype=np.float64)
