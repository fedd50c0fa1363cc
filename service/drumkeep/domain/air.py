"""Air of a place on the grid: median of its trusted sensors, and what is known of a gap.

Straight lines between readings over short gaps. Over longer ones no data is not good news: the
likely case keeps the straight line, slow and fast take the lowest and highest air of the last seven
days, and nothing that rests on it is called ready. A sensor that is doubted has no say
(``domain.plausibility``): if no other is there, the air is as unknown as over a gap, save that
after a jump, and where sensors of a place contradict one another, it lies between what they say.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_MS
from drumkeep.domain.neighbours import APART_STEPS, median_of, others_say, stand_apart
from drumkeep.domain.places import PlaceKind, gap_limit_seconds
from drumkeep.domain.plausibility import (
    HELD_MS,
    Code,
    Doubt,
    Reason,
    codes_of,
    last_trusted_ms,
    spans_of,
    trusted_values,
)
from drumkeep.domain.sensor_series import SensorSeries

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER_SEEN_LOW_C: Final = -20.0
NEVER_SEEN_HIGH_C: Final = 40.0
"""Air where no sensor has a say: nothing is ruled out."""

NO_SENSOR_K: Final = 1.0
"""Sensor error counted where there is no sensor."""

CLIMATOLOGY_DAYS: Final = 7

SHORT_RECORD_MS: Final = 2 * 86_400_000
SHORT_RECORD_K: Final = 10.0
"""A record shorter than two days has not seen what a day and a night can do: its extremes are
widened by this either way. Common practice, no source."""

Extremes = Callable[[int], tuple[float, float] | None]
"""Lowest and highest air (°C) on record over the seven days up to a time in epoch ms."""


@dataclass(frozen=True)
class PlaceAir:
    """Air of a place at grid steps ``first`` … ``first + len − 1``, °C.

    ``likely`` is NaN where no sensor has a say. ``known`` says where ``low`` and ``high`` are the
    likely air itself or, of old readings that were thinned, how far the air strayed from it within
    a quarter of an hour; ``supported`` where readings bound it, as they do where it is known and
    where sensors contradict one another. ``error_k`` is the error of what is told, K: the sensors'
    own, and how far the air strayed. ``supported_to_ms`` is the earliest of the newest readings of
    the sensors trusted at the end.
    """

    first: int
    likely: Floats
    low: Floats
    high: Floats
    known: Flags
    supported: Flags
    supported_to_ms: int | None
    error_k: Floats

    def window(self, *, first: int, last: int) -> Floats:
        """Likely air at steps ``first`` … ``last``, °C."""
        return self.likely[first - self.first : last - self.first + 1]

    def error_at(self, step: int) -> float:
        """Error of the sensors at a step, K."""
        return float(self.error_k[step - self.first])

    def supported_at(self, step: int) -> bool:
        """Whether readings bound the air at a step."""
        return bool(self.supported[step - self.first])

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
            supported=np.where(own, self.supported, elsewhere.supported),
            supported_to_ms=last.supported_to_ms,
            error_k=np.where(own, self.error_k, elsewhere.error_k),
        )


def place_air(
    series: Sequence[SensorSeries],
    *,
    kind: PlaceKind,
    first: int,
    last: int,
    extremes: Extremes,
) -> PlaceAir:
    """Put a place's air on the grid.

    Parameters
    ----------
    series
        Readings of the air sensors mounted there; those before ``first`` help to bridge, and tell
        what is to be doubted.
    kind
        Sets the longest gap that a straight line may bridge, and how fast air moves.
    first, last
        Grid steps, inclusive.
    extremes
        Asked only for the last trusted reading before a gap.
    """
    series = [s for s in series if len(s.ts_ms)]
    if not series:
        return _nowhere(first, last - first + 1)
    heard = _Heard(series, kind=kind, first=first, last=last)
    apart = heard.apart
    split = heard.split
    known = np.asarray((heard.sound & ~apart).any(axis=0) & ~split, dtype=np.bool_)
    unsure = ~known & ~split & heard.jumping.any(axis=0)
    lines, low_lines, high_lines = heard.lines, heard.low, heard.high
    voices = np.where(known, heard.sound & ~apart, np.where(split, heard.sound, heard.has_say))
    voices = np.where(unsure, heard.jumping, voices)
    likely = median_of(np.where(voices, lines, np.nan))
    strayed = np.where(voices & known, heard.strayed_k, 0.0).max(axis=0)
    low, high = likely - strayed, likely + strayed
    open_ = split | unsure
    if open_.any():
        low[open_] = np.where(voices, low_lines, np.inf).min(axis=0)[open_]
        high[open_] = np.where(voices, high_lines, -np.inf).max(axis=0)[open_]
    supported = known | open_
    if not supported.all():
        _widen(low, high, unknown=~supported, last_ms=heard.last_ms, extremes=extremes)
    errors = np.where(heard.has_say, np.array([s.error_k for s in series])[:, None], np.inf)
    error_k = errors.min(axis=0)
    return PlaceAir(
        first=first,
        likely=likely,
        low=low,
        high=high,
        known=known,
        supported=supported,
        supported_to_ms=heard.supported_to_ms(),
        error_k=np.where(np.isfinite(error_k), error_k, NO_SENSOR_K) + strayed,
    )


def place_doubts(
    series: Sequence[SensorSeries], *, kind: PlaceKind, first: int, last: int
) -> list[list[Doubt]]:
    """Return what each sensor of a place is doubted for, by itself and beside the others.

    Parameters
    ----------
    series
        Readings of sensors of one place that measure the same there.
    kind
        The place's.
    first, last
        Grid steps, inclusive: readings apart from those of the others are looked for there.

    Returns
    -------
    list[list[Doubt]]
        In the order of ``series``, each oldest first.
    """
    spoken = [i for i, s in enumerate(series) if len(s.ts_ms)]
    found: list[list[Doubt]] = [[] for _ in series]
    if not spoken:
        return found
    heard = _Heard([series[i] for i in spoken], kind=kind, first=first, last=last)
    for row, i in enumerate(spoken):
        own = spans_of(series[i], codes=heard.codes[row])
        found[i] = sorted(own + heard.apart_spans(row), key=lambda d: d.from_ms)
    return found


class _Heard:
    """What the sensors of a place say at grid steps ``first`` … ``last``, and which have a say.

    Arrays have the shape (sensor, step).
    """

    def __init__(
        self, series: Sequence[SensorSeries], *, kind: PlaceKind, first: int, last: int
    ) -> None:
        self.first = first
        self.codes = [codes_of(s, kind=kind) for s in series]
        self._series = series
        # an hour more, to tell who stands apart at the first step
        times = np.arange(first - APART_STEPS, last + 1, dtype=np.int64) * STEP_MS
        told = [
            _Told(s, codes=codes, kind=kind, times=times)
            for s, codes in zip(series, self.codes, strict=True)
        ]
        lines = np.stack([t.line for t in told])
        sound = np.stack([t.sound for t in told])
        found = stand_apart(lines, sound=sound, error_k=[s.leeway for s in series])
        self.lines = lines[:, APART_STEPS:]
        self.sound = sound[:, APART_STEPS:]
        self.has_say = np.stack([t.has_say for t in told])[:, APART_STEPS:]
        self.jumping = np.stack([t.jumping for t in told])[:, APART_STEPS:]
        given = np.stack([t.given for t in told])[:, APART_STEPS:]
        self.strayed_k = np.stack([t.strayed_k for t in told])[:, APART_STEPS:]
        self.low = np.where(self.jumping, np.fmin(self.lines, given), self.lines)
        self.high = np.where(self.jumping, np.fmax(self.lines, given), self.lines)
        self.last_ms = np.stack([t.trusted_ms for t in told])[:, APART_STEPS:].max(axis=0)
        self.apart = found & self.sound
        agreeing = (self.sound & ~self.apart).sum(axis=0)
        # unless more agree than stand apart, there is no telling who is right
        self.split: Flags = self.apart.any(axis=0) & (agreeing <= self.apart.sum(axis=0))
        self._told = told

    def supported_to_ms(self) -> int | None:
        """Return the earliest of the newest trusted readings of the sensors sound at the end."""
        last = [t.last_trusted_ms for t in self._told]
        good = [ms for ms, sound in zip(last, self.sound[:, -1], strict=True) if sound]
        newest = min(good) if good else max(last)
        return newest if newest >= 0 else None

    def apart_spans(self, row: int) -> list[Doubt]:
        """Return the spans over which one sensor stands apart."""
        edges = np.diff(self.apart[row].astype(np.int8), prepend=0, append=0)
        begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        if not len(begins):
            return []
        others = others_say(self.lines, sound=self.sound, row=row)
        return [
            Doubt(
                reason=Reason.APART,
                from_ms=(self.first + int(begin)) * STEP_MS,
                until_ms=(self.first + int(end)) * STEP_MS if end < self.apart.shape[1] else None,
                value=float(self.lines[row, end - 1]),
                other=float(others[end - 1]),
            )
            for begin, end in zip(begins, ends, strict=True)
        ]


class _Told:
    """What one sensor says at some times, epoch ms, and what it is worth; arrays (time,)."""

    def __init__(
        self, series: SensorSeries, *, codes: NDArray[np.uint8], kind: PlaceKind, times: Times
    ) -> None:
        ts = series.ts_ms
        said = trusted_values(series.value_c, codes=codes)
        trusted = last_trusted_ms(ts, codes=codes)
        for since, until in series.stuck:
            # what it said before it stood still may lie before the readings here
            span = (codes == Code.STUCK) & (ts >= since) & (until is None or ts < until)
            trusted[span] = since
        at = np.maximum(np.searchsorted(ts, times, side="right") - 1, 0)
        after = np.minimum(np.searchsorted(ts, times, side="left"), len(ts) - 1)
        code, age = codes[at], times - trusted[at]
        nonsense = (code == Code.RANGE) | (code == Code.JUMP)
        limit_ms = gap_limit_seconds(kind=kind, interval_s=series.interval_s) * 1000.0
        self.line = np.interp(times, ts, said)
        self.given = np.interp(times, ts, np.where(codes == Code.RANGE, said, series.value_c))
        self.strayed_k = (
            np.zeros(len(times))
            if series.strayed_k is None
            else np.maximum(series.strayed_k[at], series.strayed_k[after])
        )
        self.has_say = (
            _hanging(series, times=times) & (trusted[at] >= 0) & ~(nonsense & (age > HELD_MS))
        )
        believed = (
            self.has_say
            & _bridged(series, kind=kind, times=times)
            & (code != Code.STUCK)
            & ~(nonsense & (age > limit_ms))
        )
        self.jumping: Flags = believed & ((code == Code.JUMP) | (codes[after] == Code.JUMP))
        self.sound: Flags = believed & ~self.jumping
        self.trusted_ms: Times = np.where(self.has_say, trusted[at], -1)
        self.last_trusted_ms = int(trusted[-1])


def widened(low: float, high: float, *, record_ms: int) -> tuple[float, float]:
    """Widen the extremes of a record that is too short to have seen what air there can do.

    Parameters
    ----------
    low, high
        Lowest and highest air on record, °C.
    record_ms
        From its first reading to its last, ms.
    """
    if record_ms >= SHORT_RECORD_MS:
        return low, high
    return low - SHORT_RECORD_K, high + SHORT_RECORD_K


def _nowhere(first: int, count: int) -> PlaceAir:
    return PlaceAir(
        first=first,
        likely=np.full(count, np.nan),
        low=np.full(count, NEVER_SEEN_LOW_C),
        high=np.full(count, NEVER_SEEN_HIGH_C),
        known=np.zeros(count, dtype=np.bool_),
        supported=np.zeros(count, dtype=np.bool_),
        supported_to_ms=None,
        error_k=np.full(count, NO_SENSOR_K),
    )


def _hanging(series: SensorSeries, *, times: Times) -> Flags:
    """Where a sensor has a say at all: hanging there, and heard of since it does.

    What it says later, or said before it was taken down, is nothing to the air of another time:
    else the answer would depend on where a computation began, and on what was known when.
    """
    hanging = times >= series.ts_ms[0]
    if series.until_ms is not None:
        hanging &= times < series.until_ms
    return np.asarray(hanging, dtype=np.bool_)


def _widen(
    low: Floats,
    high: Floats,
    *,
    unknown: Flags,
    last_ms: Times,
    extremes: Extremes,
) -> None:
    """Let ``low`` and ``high`` take the week's extremes where the air is not known, in place.

    The week ends at the last trusted reading before each step, so that the answer does not depend
    on where a computation began.
    """
    for moment in np.unique(last_ms[unknown]):
        found = extremes(int(moment)) if moment >= 0 else None
        least, most = found or (NEVER_SEEN_LOW_C, NEVER_SEEN_HIGH_C)
        here = unknown & (last_ms == moment)
        low[here] = np.fmin(low[here], least)
        high[here] = np.fmax(high[here], most)


def _bridged(series: SensorSeries, *, kind: PlaceKind, times: Times) -> Flags:
    """Where a straight line between this sensor's readings, or its last value held, may stand."""
    limit_ms = gap_limit_seconds(kind=kind, interval_s=series.interval_s) * 1000.0
    ts = series.ts_ms
    after = np.searchsorted(ts, times, side="left")
    before = np.searchsorted(ts, times, side="right") - 1
    has_before, has_after = before >= 0, after < len(ts)
    left = ts[np.maximum(before, 0)]
    right = np.where(has_after, ts[np.minimum(after, len(ts) - 1)], times)
    return np.asarray(has_before & (right - left <= limit_ms), dtype=np.bool_)
