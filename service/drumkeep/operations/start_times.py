"""When a drum must go into its warm room at the latest, to be ready before it is wanted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR
from drumkeep.domain.alarm_rules.plans import READY_BEFORE
from drumkeep.domain.grid import moment_of
from drumkeep.domain.outlook import STEP_S, first_within
from drumkeep.operations.days_ahead import AT_ONCE, DaysAhead
from drumkeep.storage.tables.catalogue import Place
from drumkeep.thermal.march import Course


@dataclass(frozen=True)
class _Try:
    """A drum (row) that goes into its warm room at a forecast step, to be ready by the last."""

    row: int
    start: int
    last: int


def start_by(ahead: DaysAhead, *, slow: Course, rooms: Mapping[int, Place]) -> dict[int, int]:
    """Return the last forecast step at which each wanted drum may go into its warm room.

    Drums that are not wanted, or cannot be ready in time, have no entry. Every sixth hour until
    then is tried, then the hours from the last that would do, then its quarters: each try is a drum
    of its own, and all of them march together. Where a later start would do again after one that
    does not, the earlier is told.

    Parameters
    ----------
    ahead
        The drums.
    slow
        Their course where they are, slow case; a column for each.
    rooms
        The warm room of each that is not in it, by row.
    """
    latest = {row: _latest_ready(ahead, row, end=len(slow.seconds) - 1) for row in rooms}
    found = {row: 0 for row, last in latest.items() if last >= 0}
    past = {row: latest[row] + 1 for row in found}
    for stride in (6 * PER_HOUR, PER_HOUR, 1):
        tries = [
            _Try(row, start=start, last=latest[row])
            for row, begin in found.items()
            for start in range(begin, past[row], stride)
        ]
        # all of one march go as far as the one with most time left
        tries.sort(key=lambda one: one.last - one.start)
        found = {}
        for some in (tries[n : n + AT_ONCE] for n in range(0, len(tries), AT_ONCE)):
            in_time = _in_time(ahead, some, slow=slow, rooms=rooms)
            for one in (one for one, does in zip(some, in_time, strict=True) if does):
                found[one.row] = max(one.start, found.get(one.row, 0))
        past = {row: min(start + stride, latest[row] + 1) for row, start in found.items()}
    return found


def _latest_ready(ahead: DaysAhead, row: int, *, end: int) -> int:
    """Return the forecast step by which a drum is to be ready, as far as is looked.

    −1 for one that need not be ready, or should be by now.
    """
    wanted = ahead.drums[row].facts.wanted_at
    if wanted is None or wanted <= ahead.now:
        return -1
    left = wanted - READY_BEFORE - moment_of(ahead.step)
    return max(min(int(left / timedelta(hours=1) * PER_HOUR), end), -1)


def _in_time(
    ahead: DaysAhead, tries: Sequence[_Try], *, slow: Course, rooms: Mapping[int, Place]
) -> NDArray[np.bool_]:
    """Tell which tries have their drum ready in time."""
    rows = [one.row for one in tries]
    starts = np.array([one.start for one in tries], dtype=np.intp)
    last = np.array([one.last for one in tries], dtype=np.intp)
    here = ahead.prospect(rows, [ahead.place_of(row) for row in rows])
    states = here.states.copy()
    states["layers"] = slow.layers_c[starts, :, rows]
    states["doubt_k"] = here.doubt_after(starts.astype(np.float64) * STEP_S).diagonal()
    moved = ahead.prospect(rows, [rooms[row] for row in rows], states=states, starts=starts)
    end_h = (len(slow.seconds) - 1) // PER_HOUR
    hours = min(int((last - starts).max()) // PER_HOUR + 1, end_h)
    course = moved.course(hours=hours, pessimist=True)
    use = np.array([ahead.drums[i].product.limits.use_band(ahead.output(i)) for i in rows])
    ready = first_within(course.band, low_c=use[:, 0], high_c=use[:, 1])
    return np.asarray((ready >= 0) & (starts + ready <= last), dtype=np.bool_)
