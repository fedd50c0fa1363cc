"""What sensors said while they hung somewhere, as series: calibrated, with their standstills."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import CLIMATOLOGY_DAYS, Extremes, widened
from drumkeep.domain.constancy import (
    DARK_W_M2,
    HISTORY_MS,
    OPEN_AIR,
    SOONEST_MS,
    Trace,
    counts_alone,
    habit_of,
    patience_from_afar,
    standstills,
    stuck_from,
)
from drumkeep.domain.plausibility import (
    HELD_MS,
    POWER_ON_C,
    Code,
    codes_of,
    look_back_ms,
    manner_of,
    reaches_back,
)
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from drumkeep.operations.hung import Hung, calibrated
from drumkeep.storage import readings, retention
from drumkeep.storage.retention import Quarter
from drumkeep.storage.transaction import Tx

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

_WEEK_MS: Final = CLIMATOLOGY_DAYS * 86_400_000

_NOTHING: Final = (np.empty(0, dtype=np.int64), np.empty(0))

_WITNESSES: Final = 32
"""So many sensors elsewhere are asked about one that stands still, those in the open air first."""

_SPARSE_MS: Final = 10 * 60_000
"""In an hour that was thinned some two readings are at least this far apart."""

_TOGETHER: Final = 500
"""Sensors in one query."""

_NEAR_MS: Final = 86_400_000
"""A sensor whose last reading before a span is longer ago is read by itself."""

_REACHES: Final = (2 * 86_400_000, HISTORY_MS)
"""Most of what is stuck shows within two days of when it was; else more is read."""


Elsewhere = Callable[[], Sequence[Hung]]
"""Asks for the air sensors elsewhere on the site; only a standstill makes one wish to know."""


def read_together(
    tx: Tx, *, hung: Iterable[Hung], from_ms: int, to_ms: int
) -> dict[int, SensorSeries]:
    """Return what many sensors said, by mount id, for :func:`read_series` to go on from.

    Hundreds by one query. Those that were taken down before the span, and those that have to be
    read far back before it, are left out.
    """
    there = [one for one in hung if not one.ends_by(from_ms)]
    found: dict[int, SensorSeries] = {}
    for start in range(0, len(there), _TOGETHER):
        found |= _read_some(tx, there[start : start + _TOGETHER], from_ms=from_ms, to_ms=to_ms)
    return found


def _read_some(
    tx: Tx, hung: Sequence[Hung], *, from_ms: int, to_ms: int
) -> dict[int, SensorSeries]:
    bridges = readings.previous(tx, before={one.sensor.id: from_ms for one in hung})
    spans = [_Reach(one, from_ms=from_ms, bridge_ms=bridges.get(one.sensor.id)) for one in hung]
    near = [span for span in spans if span.begin_ms >= from_ms - _NEAR_MS]
    if not near:
        return {}
    stored = readings.series(
        tx,
        sensor_ids=sorted({span.hung.sensor.id for span in near}),
        from_ms=min(span.begin_ms for span in near),
        to_ms=to_ms,
    )
    told = []
    for span in near:
        times, raw = stored[span.hung.sensor.id]
        begin = int(np.searchsorted(times, span.begin_ms))
        told.append(span.hung.series(times[begin:], raw[begin:]))
    told = _with_quarters(tx, [span.hung for span in near], told)
    return {
        span.hung.mount.id: series
        for span, series in zip(near, told, strict=True)
        if span.is_enough(series)
    }


def read_series(
    tx: Tx,
    *,
    hung: Sequence[Hung],
    elsewhere: Elsewhere,
    from_ms: int,
    to_ms: int,
    told: Mapping[int, SensorSeries] | None = None,
) -> list[SensorSeries]:
    """Return what sensors of one spot said in a span, and before it as far back as it matters.

    Parameters
    ----------
    tx
        Any transaction.
    hung
        The sensors of a place that measure the same there, past ones too.
    elsewhere
        Air sensors elsewhere on the site, for what stands still.
    from_ms, to_ms
        Epoch ms, ends included. The reading before the span bridges into it.
    told
        What :func:`read_together` read of the same span already.

    Returns
    -------
    list[SensorSeries]
        In the order of ``hung``; those that were taken down before the span are empty.
    """
    found = []
    for one in hung:
        if one.ends_by(from_ms):
            found.append(one.series(*_NOTHING))
            continue
        known = None if told is None else told.get(one.mount.id)
        series = _read(tx, one, from_ms=from_ms, to_ms=to_ms) if known is None else known
        beside = [h for h in hung if h.sensor.id != one.sensor.id]
        stuck = _stuck(tx, one, series=series, beside=beside, elsewhere=elsewhere)
        found.append(replace(series, stuck=tuple(stuck)) if stuck else series)
    return found


@dataclass(frozen=True)
class _Reach:
    """How far back a sensor is read, for a span that its reading at ``bridge_ms`` leads into.

    None for one that said nothing before the span ``from_ms``.
    """

    hung: Hung
    from_ms: int
    bridge_ms: int | None

    @property
    def begin_ms(self) -> int:
        """From here on, to judge the reading before the span by those before it."""
        if self.bridge_ms is None:
            return self.from_ms
        return self.bridge_ms - look_back_ms(self.hung.sensor.interval_s)

    def is_enough(self, series: SensorSeries, *, begin_ms: int | None = None) -> bool:
        """Tell whether readings from ``begin_ms`` on say what that reading is worth."""
        if self.bridge_ms is None:
            return True
        begin = self.begin_ms if begin_ms is None else begin_ms
        return begin <= max(self.bridge_ms - HELD_MS, self.hung.since_ms()) or reaches_back(
            series, kind=self.hung.kind, begin_ms=begin, at_ms=self.bridge_ms
        )


def _read(tx: Tx, one: Hung, *, from_ms: int, to_ms: int) -> SensorSeries:
    """Return readings in a span, the one before it, and those by which that one is judged.

    If all of them are doubted, those as far back as the last trusted one are read too.
    """
    bridge = readings.previous_ts(tx, sensor_id=one.sensor.id, ts_ms=from_ms)
    reach = _Reach(one, from_ms=from_ms, bridge_ms=bridge)
    begin = reach.begin_ms
    while True:
        stored = readings.series(tx, sensor_ids=[one.sensor.id], from_ms=begin, to_ms=to_ms)
        (series,) = _with_quarters(tx, [one], [one.series(*stored[one.sensor.id])])
        if reach.is_enough(series, begin_ms=begin):
            return series
        begin -= HELD_MS


def _with_quarters(
    tx: Tx, hung: Sequence[Hung], told: Sequence[SensorSeries]
) -> list[SensorSeries]:
    """Let old readings, thinned to one in a quarter of an hour, say the mean of all that were.

    Liquid takes hours to follow air, so the mean is what matters of a quarter; how far the air
    strayed from it is doubt. Where one of the readings that went would have been doubted for its
    value alone, the one that stayed, which was the nearest to the mean, speaks for itself.
    """
    series = list(told)
    sparse = [i for i, one in enumerate(told) if (np.diff(one.ts_ms) >= _SPARSE_MS).any()]
    if sparse:
        found = retention.quarters(
            tx,
            sensor_ids=sorted({hung[i].sensor.id for i in sparse}),
            from_ms=min(int(told[i].ts_ms[0]) for i in sparse),
            to_ms=max(int(told[i].ts_ms[-1]) for i in sparse),
        )
        for i in sparse:
            if hung[i].sensor.id in found:
                series[i] = _quartered(hung[i], told[i], found[hung[i].sensor.id])
    return series


def _quartered(one: Hung, series: SensorSeries, found: Sequence[Quarter]) -> SensorSeries:
    times = series.ts_ms
    begins = np.array([quarter.begin_ms for quarter in found], dtype=np.int64)
    raw = np.array([(quarter.mean, quarter.low, quarter.high) for quarter in found]).T
    mean, low, high = (calibrated(begins, row, calibrations=one.calibrations) for row in raw)
    manner = manner_of(one.what, kind=one.kind)
    sound = (np.minimum(low, high) >= manner.low) & (np.maximum(low, high) <= manner.high)
    sound &= raw[2] != POWER_ON_C
    at = np.searchsorted(begins, times, side="right") - 1
    inside = (at >= 0) & (times - begins[at] < retention.QUARTER_MS)
    inside[inside] = sound[at[inside]]
    return replace(
        series,
        value_c=np.where(inside, mean[at], series.value_c),
        strayed_k=np.where(inside, 0.5 * np.abs(high - low)[at], 0.0),
    )


def _stuck(
    tx: Tx,
    one: Hung,
    *,
    series: SensorSeries,
    beside: Sequence[Hung],
    elsewhere: Elsewhere,
) -> list[tuple[int, int | None]]:
    """Return the spans over which a sensor is stuck, of those that its readings here touch."""
    times, raw = series.ts_ms, series.as_given()
    found: list[tuple[int, int | None]] = []
    for first, last in standstills(times, raw):
        begin = int(times[first]) if first else _began(tx, one, at=int(times[0]), value=raw[0])
        end = int(times[last])
        if end - begin < SOONEST_MS or (one.what is What.SUN and raw[first] <= DARK_W_M2):
            continue
        doubted = _stuck_from(tx, one, begin=begin, end=end, beside=beside, elsewhere=elsewhere)
        if doubted is not None:
            found.append((doubted, int(times[last + 1]) if last + 1 < len(times) else None))
    return found


def _stuck_from(
    tx: Tx,
    one: Hung,
    *,
    begin: int,
    end: int,
    beside: Sequence[Hung],
    elsewhere: Elsewhere,
) -> int | None:
    """Return from when on a standstill is doubted; epoch ms, None if it is not.

    What is read after that time changes nothing about it.
    """
    before = _own(tx, one, from_ms=begin - HISTORY_MS, to_ms=begin - 1)
    habit = habit_of((before.ts_ms, before.as_given()))
    patience = patience_from_afar(habit, what=one.what, kind=one.kind)
    if not beside and patience is None and not counts_alone(habit, what=one.what, kind=one.kind):
        return None
    for seen_to in sorted({min(end, begin + reach) for reach in _REACHES}):
        asked = elsewhere() if patience is not None and seen_to - begin >= patience else ()
        doubted = stuck_from(
            _own(tx, one, from_ms=begin, to_ms=seen_to).ts_ms,
            habit=habit,
            interval_s=one.sensor.interval_s,
            what=one.what,
            kind=one.kind,
            beside=_traces(tx, beside, from_ms=begin, to_ms=seen_to),
            elsewhere=_traces(tx, _witnesses(asked), from_ms=begin, to_ms=seen_to),
        )
        if doubted is not None:
            return doubted
    return None


def _own(tx: Tx, one: Hung, *, from_ms: int, to_ms: int) -> SensorSeries:
    stored = readings.series(tx, sensor_ids=[one.sensor.id], from_ms=from_ms, to_ms=to_ms)
    return one.series(*stored[one.sensor.id])


def _witnesses(elsewhere: Iterable[Hung]) -> list[Hung]:
    order = sorted(elsewhere, key=lambda h: (h.kind not in OPEN_AIR, h.mount.id))
    return order[:_WITNESSES]


def _began(tx: Tx, one: Hung, *, at: int, value: float) -> int:
    """Return since when a sensor has said the same as at a time, while it hung there; epoch ms."""
    other = readings.differed_ts(tx, sensor_id=one.sensor.id, ts_ms=at, value=float(value))
    since = one.since_ms() if other is None else max(other + 1, one.since_ms())
    first = readings.first_ts(tx, sensor_id=one.sensor.id, from_ms=since, to_ms=at)
    return at if first is None else first


def _traces(tx: Tx, hung: Sequence[Hung], *, from_ms: int, to_ms: int) -> list[Trace]:
    """Return the trusted readings of others in a span."""
    stored = readings.series(
        tx,
        sensor_ids=sorted({h.sensor.id for h in hung}),
        from_ms=from_ms - max((look_back_ms(h.sensor.interval_s) for h in hung), default=0),
        to_ms=to_ms,
    )
    found = []
    for one in hung:
        series = one.series(*stored[one.sensor.id])
        good = (codes_of(series, kind=one.kind) == Code.TRUSTED) & (series.ts_ms >= from_ms)
        found.append((series.ts_ms[good], series.value_c[good]))
    return found


def week_extremes(tx: Tx, *, hung: Sequence[Hung]) -> Extremes:
    """Return what tells the lowest and highest air of the week up to a time, of what can be."""

    def week_up_to(moment_ms: int) -> tuple[float, float] | None:
        lows, highs, begins = [], [], []
        oldest = readings.newest(tx, sensor_ids=[h.sensor.id for h in hung])
        for one in hung:
            taken_down = one.until_ms()
            until = moment_ms if taken_down is None else min(moment_ms, taken_down - 1)
            since = max(moment_ms - _WEEK_MS, one.since_ms())
            if since > until or one.sensor.id not in oldest:
                continue
            within = _raw_range(one, at=until)
            found = readings.extremes(
                tx, sensor_ids=[one.sensor.id], from_ms=since, to_ms=until, within=within
            ).get(one.sensor.id)
            thinned = retention.extremes(
                tx, sensor_id=one.sensor.id, from_ms=since, to_ms=until, within=within
            )
            if found is not None and thinned is not None:
                found = (min(found[0], thinned[0]), max(found[1], thinned[1]))
            if found is not None:
                pair = calibrated(
                    np.full(2, until, dtype=np.int64),
                    np.array(found),
                    calibrations=one.calibrations,
                )
                lows.append(float(pair.min()))
                highs.append(float(pair.max()))
                begins.append(max(oldest[one.sensor.id].first_ms, one.since_ms()))
        if not lows:
            return None
        return widened(min(lows), max(highs), record_ms=moment_ms - min(begins))

    return week_up_to


def _raw_range(one: Hung, *, at: int) -> tuple[float, float]:
    """Return between which values as given a calibrated one can be."""
    manner = manner_of(one.what, kind=one.kind)
    offset, slope = calibrated(
        np.full(2, at, dtype=np.int64), np.array([0.0, 1.0]), calibrations=one.calibrations
    )
    gain = slope - offset
    return (manner.low - offset) / gain, (manner.high - offset) / gain


def span_air(
    tx: Tx, *, hung: Sequence[Hung], from_ms: int, to_ms: int
) -> tuple[float, float, float] | None:
    """Return lowest, mean and highest trusted air (°C) of a span; None if there is none.

    The mean is over time, by straight lines between the readings.
    """
    lows, highs, means = [], [], []
    for series, one in zip(
        read_series(tx, hung=hung, elsewhere=list, from_ms=from_ms, to_ms=to_ms), hung, strict=True
    ):
        good = codes_of(series, kind=one.kind) == Code.TRUSTED
        good &= (series.ts_ms >= from_ms) & (series.ts_ms <= to_ms)
        times, true = series.ts_ms[good], series.value_c[good]
        if not len(times):
            continue
        strayed = np.zeros(len(times)) if series.strayed_k is None else series.strayed_k[good]
        lows.append(float((true - strayed).min()))
        highs.append(float((true + strayed).max()))
        span = float(times[-1] - times[0])
        area = float(np.trapezoid(true, times.astype(np.float64)))
        means.append(area / span if span else float(true[0]))
    if not means:
        return None
    return min(lows), float(np.median(means)), max(highs)
