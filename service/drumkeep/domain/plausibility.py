"""Which readings are doubted, and for what: out of range, a jump, a standstill.

A reading is doubted because of what it says and what was read up to its own time; readings that
come later never make an earlier one doubtful, and none further back than :func:`look_back_ms`
counts. So it does not matter when a reading arrived, nor where a computation began. Doubted
readings stay stored and are shown; they have no say in what is computed.

A jump is doubted at its first reading and believed again once the new level has lasted
:data:`PERSISTS_MS` and :data:`PERSISTS_READINGS` readings: a spike never has a say, and a door that
was opened or a drum heater switched on is believed after a quarter of an hour.

Limits are common practice, no source, save where one is named.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.uint8]

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS

POWER_ON_C: Final = 85.0
"""What a DS18B20 gives before its first conversion (its data sheet: power-on value 0x0550)."""
POWER_ON_NEAR_C: Final = 5.0
"""85.0 is believed only if the reading before it was this close."""

SHORTEST_MS: Final = 5 * MINUTE_MS
"""Readings that come faster are compared over this time too: a ramp in small steps is one jump."""
FARTHEST_MS: Final = 20 * MINUTE_MS
"""Over longer than this no more change is allowed than over this."""
PERSISTS_MS: Final = 15 * MINUTE_MS
PERSISTS_READINGS: Final = 3
BACK_MS: Final = HOUR_MS
_BACK_INTERVALS: Final = 3
"""A level that was left this short a time ago, or three intervals, is believed at once when the
sensor comes back to it; after as long a silence there is nothing to have jumped from."""

HELD_MS: Final = 7 * 24 * HOUR_MS
"""So long after its last trusted reading a sensor that speaks nonsense counts as none."""

_LOOK_BACK: Final = 6
"""A level of up to three readings, one left before it, and three readings that made that one last,
with silences of almost ``BACK_MS`` between them all: so many times that."""


class Reason(StrEnum):
    """What a sensor is doubted for."""

    RANGE = "range"
    JUMP = "jump"
    STUCK = "stuck"
    APART = "apart"


class Code(IntEnum):
    """The same of one reading, as arrays hold it."""

    TRUSTED = 0
    RANGE = 1
    JUMP = 2
    STUCK = 3


_REASONS: Final = {Code.RANGE: Reason.RANGE, Code.JUMP: Reason.JUMP, Code.STUCK: Reason.STUCK}


@dataclass(frozen=True)
class Doubt:
    """A span of time over which a sensor is doubted, and what was seen.

    Attributes
    ----------
    reason
        Why.
    from_ms, until_ms
        From the first reading doubted to the first one trusted again, epoch ms; ``until_ms`` None
        while it lasts.
    value
        What it said at first, calibrated, °C or %.
    other
        What it is held against: the reading before a jump, what the others say of it when it
        stands apart. None where there is none.
    """

    reason: Reason
    from_ms: int
    until_ms: int | None
    value: float
    other: float | None = None

    def holds_at(self, ms: int) -> bool:
        """Whether the sensor is doubted at a time in epoch ms."""
        return self.from_ms <= ms and (self.until_ms is None or ms < self.until_ms)


@dataclass(frozen=True)
class Manner:
    """How what is measured can be: from ``low`` to ``high``, and how it moves.

    Two readings may differ by ``step`` and ``per_minute`` for each minute between them; °C and K,
    % of humidity, or W/m² of sun.
    """

    low: float
    high: float
    step: float
    per_minute: float


_AIR_LOW_C: Final = -50.0
_AIR_HIGH_C: Final = 70.0
_AIR_STEP_K: Final = 3.0
_AIR_K_MIN: Final = {
    PlaceKind.WAREHOUSE: 0.6,
    PlaceKind.WARM_ROOM: 1.0,
    PlaceKind.DOCK: 1.5,
    PlaceKind.YARD: 1.5,
    PlaceKind.VEHICLE: 2.0,
    PlaceKind.RIG: 2.0,
    PlaceKind.JOB_SITE: 1.5,
}
"""Halls are slow; doors, fans and sun make the rest quick."""
_OF_OTHERS: Final = {
    What.FLOOR: Manner(low=-40.0, high=70.0, step=2.0, per_minute=0.3),
    What.SKIN: Manner(low=-40.0, high=90.0, step=5.0, per_minute=2.0),
    What.LIQUID: Manner(low=-40.0, high=90.0, step=3.0, per_minute=1.0),
    # A door lets damp in within a minute; nothing on earth dries a shed to nothing.
    What.HUMIDITY: Manner(low=0.5, high=100.0, step=60.0, per_minute=20.0),
    # The edge of a cloud passes within seconds, so nothing is too fast.
    What.SUN: Manner(low=-20.0, high=1500.0, step=1520.0, per_minute=0.0),
}


def manner_of(what: What, *, kind: PlaceKind) -> Manner:
    """Return how what a sensor measures can be and move, by what it is and where it hangs."""
    if what is not What.AIR:
        return _OF_OTHERS[what]
    return Manner(_AIR_LOW_C, _AIR_HIGH_C, step=_AIR_STEP_K, per_minute=_AIR_K_MIN[kind])


def look_back_ms(interval_s: float) -> int:
    """Return how long before a reading others may matter to whether it is trusted, ms."""
    return _LOOK_BACK * _back_ms(interval_s)


def _back_ms(interval_s: float) -> int:
    return max(BACK_MS, round(_BACK_INTERVALS * interval_s * 1000.0))


def codes_of(series: SensorSeries, *, kind: PlaceKind) -> Codes:
    """Say of each reading what it is doubted for.

    Parameters
    ----------
    series
        Readings of one sensor, those of :func:`look_back_ms` before the first that matters too.
    kind
        The kind of place where it hangs, or the drum stands.

    Returns
    -------
    Codes
        A :class:`Code` for each reading, shape (reading,).
    """
    manner = manner_of(series.what, kind=kind)
    codes = np.zeros(len(series.ts_ms), dtype=np.uint8)
    if not len(codes):
        return codes
    codes[_out_of_range(series, manner=manner)] = Code.RANGE
    inside = np.flatnonzero(codes == Code.TRUSTED)
    jumps = _jumps(
        series.ts_ms[inside],
        series.value_c[inside],
        manner=manner,
        back_ms=_back_ms(series.interval_s),
    )
    codes[inside[jumps]] = Code.JUMP
    for since, until in series.stuck:
        span = series.ts_ms >= since
        if until is not None:
            span &= series.ts_ms < until
        codes[span & (codes == Code.TRUSTED)] = Code.STUCK
    return codes


def trusted_values(values: Floats, *, codes: Codes) -> Floats:
    """Let each doubted reading say what the last trusted one said; NaN before any.

    One that stands still says what it said when it was last trusted.

    Parameters
    ----------
    values, codes
        Shape (reading,).
    """
    has_say = (codes == Code.TRUSTED) | (codes == Code.STUCK)
    at = np.maximum.accumulate(np.where(has_say, np.arange(len(values)), -1))
    return np.where(at >= 0, values[at], np.nan)


def last_trusted_ms(ts_ms: Times, *, codes: Codes) -> Times:
    """Return the time of the last trusted reading up to each, epoch ms, −1 before any."""
    if not len(ts_ms):
        return ts_ms
    at = np.maximum.accumulate(np.where(codes == Code.TRUSTED, np.arange(len(ts_ms)), -1))
    return np.where(at >= 0, ts_ms[at], -1)


def reaches_back(series: SensorSeries, *, kind: PlaceKind, begin_ms: int, at_ms: int) -> bool:
    """Say whether readings from some time on tell all of what a sensor says at a later time.

    They do if one is trusted, and those that matter to whether it is are there.

    Parameters
    ----------
    series
        Its readings from ``begin_ms`` on.
    kind
        The kind of place where it hangs.
    begin_ms, at_ms
        Epoch ms.
    """
    sure = series.ts_ms >= begin_ms + look_back_ms(series.interval_s)
    sure &= series.ts_ms <= at_ms
    return bool((sure & (codes_of(series, kind=kind) == Code.TRUSTED)).any())


def doubts_of(series: SensorSeries, *, kind: PlaceKind, since_ms: int | None = None) -> list[Doubt]:
    """Return the spans over which a sensor is doubted by itself, oldest first.

    Parameters
    ----------
    series
        Its readings, of the air, a floor, a drum's skin or its liquid.
    kind
        The kind of place where it hangs, or the drum stands.
    since_ms
        Spans that ended before are left out; epoch ms.
    """
    codes = codes_of(series, kind=kind)
    found = spans_of(series, codes=codes)
    return [d for d in found if since_ms is None or d.until_ms is None or d.until_ms > since_ms]


def spans_of(series: SensorSeries, *, codes: Codes) -> list[Doubt]:
    """Join doubted readings that follow one another for one reason into spans."""
    if not codes.any():
        return []
    begins = np.flatnonzero(np.diff(codes, prepend=np.uint8(Code.TRUSTED)) != 0)
    ends = np.append(begins[1:], len(codes))
    said = trusted_values(series.value_c, codes=codes)
    found = []
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        if codes[begin] == Code.TRUSTED:
            continue
        code = Code(codes[begin])
        before = float(said[begin])
        found.append(
            Doubt(
                reason=_REASONS[code],
                from_ms=_since(series, begin=begin, code=code),
                until_ms=int(series.ts_ms[end]) if end < len(codes) else None,
                value=float(series.value_c[begin]),
                other=before if code is not Code.STUCK and np.isfinite(before) else None,
            )
        )
    return found


def _since(series: SensorSeries, *, begin: int, code: Code) -> int:
    """Return when a span began; a standstill may have begun before the readings here."""
    first = int(series.ts_ms[begin])
    if code is not Code.STUCK:
        return first
    return max((since for since, _ in series.stuck if since <= first), default=first)


def _out_of_range(series: SensorSeries, *, manner: Manner) -> Flags:
    values, raw = series.value_c, series.as_given()
    strange = ~((values >= manner.low) & (values <= manner.high))
    power_on = raw == POWER_ON_C
    if series.what not in (What.HUMIDITY, What.SUN) and power_on.any():
        other = np.maximum.accumulate(np.where(power_on, -1, np.arange(len(raw))))
        near = (other >= 0) & (np.abs(raw[other] - POWER_ON_C) <= POWER_ON_NEAR_C)
        strange |= power_on & ~near
    return np.asarray(strange, dtype=np.bool_)


def _jumps(ts: Times, values: Floats, *, manner: Manner, back_ms: int) -> Flags:
    """Say which readings are on a level that the sensor jumped to and that has not lasted yet.

    Readings without a jump between them are one level. It is believed if it came after a silence,
    if it has lasted, or if it is the last level that lasted, come back to.
    """
    count = len(ts)
    if count < 2:  # noqa: PLR2004 - it takes two to jump
        return np.zeros(count, dtype=np.bool_)
    fresh = np.diff(ts, prepend=ts[0] - back_ms) >= back_ms
    jumped = _changed_too_fast(ts, values, manner=manner)
    level = np.cumsum(jumped | fresh) - 1
    begin = np.flatnonzero(jumped | fresh)
    end = np.append(begin[1:], count) - 1
    lasting = fresh[begin] | (
        (ts[end] - ts[begin] >= PERSISTS_MS) & (end - begin + 1 >= PERSISTS_READINGS)
    )
    numbers = np.arange(len(begin))
    before = np.maximum.accumulate(np.where(lasting, numbers, -1))
    before = np.concatenate([[-1], before[:-1]])
    left = end[np.maximum(before, 0)]
    away = ts[begin] - ts[left]
    returned = (
        (before >= 0)
        & (before < numbers - 1)
        & (away <= back_ms)
        & (np.abs(values[begin] - values[left]) <= _allowed(away, manner=manner))
    )
    by_now = (ts - ts[begin][level] >= PERSISTS_MS) & (
        np.arange(count) - begin[level] + 1 >= PERSISTS_READINGS
    )
    return np.asarray(~((fresh[begin] | returned)[level] | by_now), dtype=np.bool_)


def _changed_too_fast(ts: Times, values: Floats, *, manner: Manner) -> Flags:
    """Compare each reading with the one before, and with the last one five minutes before."""
    found = np.zeros(len(ts), dtype=np.bool_)
    found[1:] = np.abs(np.diff(values)) > _allowed(np.diff(ts), manner=manner)
    earlier = np.searchsorted(ts, ts - SHORTEST_MS, side="right") - 1
    away = ts - ts[np.maximum(earlier, 0)]
    near = (earlier >= 0) & (away <= FARTHEST_MS)
    change = np.abs(values - values[np.maximum(earlier, 0)])
    return found | (near & (change > _allowed(away, manner=manner)))


def _allowed(away_ms: Times, *, manner: Manner) -> Floats:
    minutes = np.minimum(away_ms, FARTHEST_MS) / MINUTE_MS
    return np.asarray(manner.step + manner.per_minute * minutes, dtype=np.float64)
