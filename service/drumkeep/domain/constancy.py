"""A sensor that stands still while what it measures does not.

The very same value for hours proves nothing by itself: a thermostat keeps a room steady, and a
coarse sensor then shows one number for days. So a standstill is held against the sensor's own last
week before it (how fine its steps are, how long it ever stood still) and against others: sensors
beside it, and those elsewhere on the site. A closed place may be heated to a set point, where
nothing elsewhere tells of its air unless its own steps are fine.

All of it rests on readings up to the moment at which the sensor is first doubted, and on nothing
further back than :data:`HISTORY_MS` before it stood still. Common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import HOUR_MS
from drumkeep.domain.sensors import What

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Trace = tuple[Times, Floats]
"""Epoch ms, ascending, and values of one sensor; shape (reading,)."""

HISTORY_MS: Final = 7 * 24 * HOUR_MS
"""How far back from its beginning a standstill is held against what was before, and how long after
its beginning others are looked at."""

SOONEST_MS: Final = 6 * HOUR_MS
"""No standstill is doubted sooner, with others beside it that moved, or in the open air."""
SOONEST_CLOSED_MS: Final = 12 * HOUR_MS
"""Nor in a closed place by what moved elsewhere on the site."""
SOONEST_ALONE_MS: Final = 24 * HOUR_MS
"""Nor without anything to hold it against: a day and a night."""
SOONEST_LIVELY_MS: Final = 8 * HOUR_MS
"""But sooner in a closed place for one with fine steps that never stood still for an hour."""
_LIVELY_LONGEST_MS: Final = HOUR_MS
_LIVELY_WOULD_HAVE_CHANGED: Final = 40.0
"""Twice as often as else: alone and so soon, no chance may be left."""
LATEST_BESIDE_MS: Final = 48 * HOUR_MS
"""Sensors beside it are believed after this, however long it ever stood still before."""

FINE_K: Final = 0.125
"""Steps so small show even what a thermostat leaves: two counts of a DS18B20 at 12 bit."""
COARSEST_K: Final = 1.0
"""What is taken for the step of a sensor that never showed two values."""

_BESIDE_STEPS: Final = 3.0
_ELSEWHERE_STEPS: Final = 4.0
_ELSEWHERE_K: Final = 3.0
_BESIDE_K: Final = {What.AIR: 1.5, What.FLOOR: 4.0, What.SKIN: 6.0, What.LIQUID: 15.0}
"""Others must have moved by more than this, and by so many of the sensor's own steps; what is slow
itself follows only part of what the air does."""

_LONGER: Final = 2.0
_LONGER_CLOSED: Final = 3.0
"""So many times its longest standstill of the week before."""
_LEAST_RECORD_MS: Final = 12 * HOUR_MS
_LEAST_RECORD_COARSE_MS: Final = 36 * HOUR_MS
"""What it did before says something only if it was seen so long; with coarse steps a day and more,
for they may well show one number all night."""
_WOULD_HAVE_CHANGED: Final = 20.0
"""So often it would have changed meanwhile, had it gone on as before: that it did not is no chance.
"""
DARK_W_M2: Final = 20.0
"""Less is night, and lasts; the sun itself never stands still: clouds and its own way change it."""

_SAME_K: Final = 1e-4
_SPOKEN_MS: Final = 2 * HOUR_MS
"""A sensor that hardly speaks does not stand still: its readings must be this close in the mean."""

OPEN_AIR: Final = frozenset({PlaceKind.YARD, PlaceKind.DOCK, PlaceKind.VEHICLE, PlaceKind.JOB_SITE})


@dataclass(frozen=True)
class Habit:
    """What a sensor did in the week before it stood still.

    Attributes
    ----------
    record_ms
        How long it had been read.
    step_k
        The smallest difference between two values that it showed; None if it showed only one.
    longest_ms
        Longest time over which it showed one value.
    changes
        Share of its readings that differed from the one before, 0-1.
    """

    record_ms: int
    step_k: float | None
    longest_ms: int
    changes: float


def standstills(ts_ms: Times, raw: Floats, *, least_ms: int = SOONEST_MS) -> list[tuple[int, int]]:
    """Return the first and last number of readings that follow one another with one value.

    Parameters
    ----------
    ts_ms, raw
        Readings as the sensor gave them, shape (reading,).
    least_ms
        Shorter ones are left out; from half of it on one that touches the first reading is not,
        for it may have begun before.
    """
    if not len(raw):
        return []
    begin = np.flatnonzero(np.diff(raw, prepend=np.nan) != 0.0)
    end = np.append(begin[1:], len(raw)) - 1
    lasted = ts_ms[end] - ts_ms[begin]
    long = (lasted >= least_ms) | ((begin == 0) & (lasted >= least_ms // 2))
    return list(zip(begin[long].tolist(), end[long].tolist(), strict=True))


def habit_of(before: Trace) -> Habit:
    """Return what a sensor did before it stood still, from its readings of then as given."""
    ts, raw = before
    if not len(ts):
        return Habit(record_ms=0, step_k=None, longest_ms=0, changes=0.0)
    values = np.unique(np.round(raw / _SAME_K)) * _SAME_K
    begin = np.flatnonzero(np.diff(raw, prepend=np.nan) != 0.0)
    end = np.append(begin[1:], len(raw)) - 1
    return Habit(
        record_ms=int(ts[-1] - ts[0]),
        step_k=float(np.diff(values).min()) if len(values) > 1 else None,
        longest_ms=int((ts[end] - ts[begin]).max()),
        changes=(len(begin) - 1) / len(raw),
    )


def stuck_from(
    still: Times,
    *,
    habit: Habit,
    interval_s: float,
    what: What,
    kind: PlaceKind,
    beside: Sequence[Trace] = (),
    elsewhere: Sequence[Trace] = (),
) -> int | None:
    """Return from when on a standstill is doubted, epoch ms; None if it is not.

    Parameters
    ----------
    still
        Times of the readings that all say the same, from the first on, shape (reading,).
    habit
        What the sensor did before.
    interval_s
        What it is set to measure at, s.
    what, kind
        What it measures, in which kind of place.
    beside
        Trusted readings of sensors of the same place since then; for one on a drum, of the air
        round it too.
    elsewhere
        Those of air sensors elsewhere on the site.
    """
    lasted = still - still[0]
    spoken = lasted <= np.arange(len(still)) * max(_SPOKEN_MS, 2.5 * interval_s * 1000.0)
    step = COARSEST_K if habit.step_k is None else habit.step_k
    doubted = np.zeros(len(still), dtype=np.bool_)
    if what is What.SUN:
        doubted |= lasted >= SOONEST_MS
    if what in _BESIDE_K:
        least = max(_BESIDE_STEPS * step, _BESIDE_K[what])
        patience = min(max(SOONEST_MS, _LONGER * habit.longest_ms), LATEST_BESIDE_MS)
        doubted |= (lasted >= patience) & _moved(beside, still, by=least)
    if what in (What.AIR, What.FLOOR):
        strange = np.arange(len(still)) * habit.changes >= _WOULD_HAVE_CHANGED
        from_afar = patience_from_afar(habit, what=what, kind=kind)
        least = max(_ELSEWHERE_STEPS * step, _ELSEWHERE_K)
        if from_afar is not None:
            doubted |= strange & (lasted >= from_afar) & _moved(elsewhere, still, by=least)
        if counts_alone(habit, what=what, kind=kind):
            doubted |= strange & (lasted >= SOONEST_ALONE_MS)
            if lively(habit) and not _open(what, kind):
                often = np.arange(len(still)) * habit.changes >= _LIVELY_WOULD_HAVE_CHANGED
                doubted |= often & (lasted >= SOONEST_LIVELY_MS)
    found = np.flatnonzero(doubted & spoken)
    return int(still[found[0]]) if len(found) else None


def _open(what: What, kind: PlaceKind) -> bool:
    return what is What.AIR and kind in OPEN_AIR


def counts_alone(habit: Habit, *, what: What, kind: PlaceKind) -> bool:
    """Say whether a day and a night of one value are strange enough with nothing to compare."""
    return what is What.SUN or (
        what in (What.AIR, What.FLOOR)
        and habit.record_ms >= SOONEST_ALONE_MS
        and habit.longest_ms <= SOONEST_MS
        and habit.step_k is not None
        and (habit.step_k <= FINE_K or _open(what, kind))
    )


def lively(habit: Habit) -> bool:
    """Say whether a sensor with fine steps never stood still for long."""
    fine = habit.step_k is not None and habit.step_k <= FINE_K
    return fine and habit.longest_ms < _LIVELY_LONGEST_MS


def patience_from_afar(habit: Habit, *, what: What, kind: PlaceKind) -> float | None:
    """Return how long a sensor may stand still while air elsewhere moves, ms; None: for ever."""
    if what not in (What.AIR, What.FLOOR):
        return None
    if habit.step_k is None:
        return None
    fine = habit.step_k <= FINE_K
    if habit.record_ms < (_LEAST_RECORD_MS if fine else _LEAST_RECORD_COARSE_MS):
        return None
    if _open(what, kind):
        return max(SOONEST_MS, _LONGER * habit.longest_ms)
    if not fine:
        return None
    return max(SOONEST_CLOSED_MS, _LONGER_CLOSED * habit.longest_ms)


def _moved(others: Sequence[Trace], still: Times, *, by: float) -> NDArray[np.bool_]:
    """Say at which readings of the standstill some other sensor had moved by more, since then."""
    found = np.zeros(len(still), dtype=np.bool_)
    for ts, values in others:
        inside = ts >= still[0]
        if not inside.any():
            continue
        since, said = ts[inside], values[inside]
        span = np.maximum.accumulate(said) - np.minimum.accumulate(said)
        at = np.searchsorted(since, still, side="right") - 1
        found |= (at >= 0) & (span[np.maximum(at, 0)] > by)
    return found
