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
"""Air where no sensor has a say: nothing is ruled out."""

NO_SENSOR_K: Final = 1.0
"""Sensor error counted where there is no sensor."""

CLIMATOLOGY_DAYS: Final = 7


@dataclass(frozen=True)
class SensorSeries:
    """One sensor's readings while mounted there, calibrated: epoch ms ascending, and °C.

    It has a say from its first reading there until it is taken down, at ``until_ms``.
    """

    ts_ms: Times
    value_c: Floats
    interval_s: float
    error_k: float
    until_ms: int | None = None


@dataclass(frozen=True)
class PlaceAir:
    """Air of a place at grid steps ``first`` … ``first + len − 1``, °C.

    ``likely`` is NaN where no sensor has a say. ``known`` says where ``low`` and ``high`` are the
    likely air itself. ``error_k`` is the sensors' own error, K. ``supported_to_ms`` is the earliest
    of the newest readings of the sensors trusted at the end.
    """

    first: int
    likely: Floats
    low: Floats
    high: Floats
    known: Flags
    supported_to_ms: int | None
    error_k: Floats

    def window(self, *, first: int, last: int) -> Floats:
        """Likely air at steps ``first`` … ``last``, °C."""
        return self.likely[first - self.first : last - self.first + 1]

    def error_at(self, step: int) -> float:
        """Error of the sensors at a step, K."""
        return float(self.error_k[step - self.first])

    def where(self, own: Flags, *, elsewhere: "PlaceAir") -> "PlaceAir":
        """Return this air at the steps of ``own``, and that of another place over the rest.

        Parameters
        ----------
        own
            One flag a step.
        elsewhere
            Air over the same steps.
        """
        last = self if own[-1] else elsewhere
        return PlaceAir(
            first=self.first,
            likely=np.where(own, self.likely, elsewhere.likely),
            low=np.where(own, self.low, elsewhere.low),
            high=np.where(own, self.high, elsewhere.high),
            known=np.where(own, self.known, elsewhere.known),
            supported_to_ms=last.supported_to_ms,
            error_k=np.where(own, self.error_k, elsewhere.error_k),
        )


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
        return _nowhere(first, len(times))
    heard = np.stack([_heard(s, times=times) for s in series])
    lines = np.stack([np.interp(times, s.ts_ms, s.value_c) for s in series])
    trusted = heard & np.stack([_trusted(s, kind=kind, times=times) for s in series])
    known = np.asarray(trusted.any(axis=0), dtype=np.bool_)
    likely = _median(np.where(np.where(known, trusted, heard), lines, np.nan))
    low, high = likely.copy(), likely.copy()
    if not known.all():
        last_ms = _last_ms(series, heard=heard, times=times)
        _widen(low, high, unknown=~known, last_ms=last_ms, extremes=extremes)
    newest = [int(s.ts_ms[-1]) for s, good in zip(series, trusted[:, -1], strict=True) if good]
    errors = np.where(heard, np.array([s.error_k for s in series])[:, None], np.inf).min(axis=0)
    return PlaceAir(
        first=first,
        likely=likely,
        low=low,
        high=high,
        known=known,
        supported_to_ms=min(newest) if newest else max(int(s.ts_ms[-1]) for s in series),
        error_k=np.where(np.isfinite(errors), errors, NO_SENSOR_K),
    )


def _nowhere(first: int, count: int) -> PlaceAir:
    return PlaceAir(
        first=first,
        likely=np.full(count, np.nan),
        low=np.full(count, NEVER_SEEN_LOW_C),
        high=np.full(count, NEVER_SEEN_HIGH_C),
        known=np.zeros(count, dtype=np.bool_),
        supported_to_ms=None,
        error_k=np.full(count, NO_SENSOR_K),
    )


def _heard(series: SensorSeries, *, times: Times) -> Flags:
    """Where a sensor has a say at all: hanging there, and heard of since it does.

    What it says later, or said before it was taken down, is nothing to the air of another time:
    else the answer would depend on where a computation began, and on what was known when.
    """
    heard = times >= series.ts_ms[0]
    if series.until_ms is not None:
        heard &= times < series.until_ms
    return np.asarray(heard, dtype=np.bool_)


def _last_ms(series: Sequence[SensorSeries], *, heard: Flags, times: Times) -> Times:
    """Time of the last reading at or before each step of any sensor that has a say; −1: none."""
    last = np.stack(
        [s.ts_ms[np.maximum(np.searchsorted(s.ts_ms, times, side="right") - 1, 0)] for s in series]
    )
    return np.asarray(np.where(heard, last, -1).max(axis=0), dtype=np.int64)


def _widen(
    low: Floats,
    high: Floats,
    *,
    unknown: Flags,
    last_ms: Times,
    extremes: Callable[[int], tuple[float, float] | None],
) -> None:
    """Let ``low`` and ``high`` take the week's extremes where the air is not known, in place.

    The week ends at the last reading before each step, so that the answer does not depend on
    where a computation began.
    """
    for moment in np.unique(last_ms[unknown]):
        found = extremes(int(moment)) if moment >= 0 else None
        least, most = found or (NEVER_SEEN_LOW_C, NEVER_SEEN_HIGH_C)
        here = unknown & (last_ms == moment)
        low[here] = np.fmin(low[here], least)
        high[here] = np.fmax(high[here], most)


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


def _median(lines: Floats) -> Floats:
    """Median over sensors at each step of those that have a value; NaN where none has."""
    if len(lines) == 1:
        return np.asarray(lines[0], dtype=np.float64)
    found = np.full(lines.shape[1], np.nan)
    some = np.isfinite(lines).any(axis=0)
    if some.any():
        found[some] = np.nanmedian(lines[:, some], axis=0)
    return found
