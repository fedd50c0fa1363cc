"""When a reading was taken, on a board whose clock may be wrong.

Every reading is stamped with the seconds since the start of the board, which nothing can set, and
with the name of that start. The rule for its time of day:

* The clock is *known* once the kernel says that it is synchronised (``adjtimex``; a configuration
  may say that it always is) and it shows no year before this release. Once known it stays so until
  the board starts again: without a time server it then drifts by a second or two a day.
* A reading of a known clock gets its time at once. One taken before waits in the spool, and gets
  its time, to the millisecond, as soon as the clock is known in the same start.
* One of an earlier start in which the clock never came to be known cannot be placed in time. It is
  kept, counted and told, and never sent with a time that somebody made up.
"""

import ctypes
import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

_log = logging.getLogger(__name__)

EARLIEST_S: Final = 1_767_225_600.0
"""2026-01-01T00:00Z: a clock that shows less has never been set."""

STEP_S: Final = 1.0
"""A jump of the clock that is worth a line in the log."""

_TIME_ERROR: Final = 5
_ENOUGH: Final = 8  # 32 random bits tell one start from the next
_TIMEX_OCTETS: Final = 512  # struct timex has 208 on 64-bit Linux


def synchronised() -> bool:
    """Whether the kernel holds its clock for synchronised (adjtimex(2))."""
    asked = ctypes.create_string_buffer(_TIMEX_OCTETS)  # modes 0: nothing is changed
    state: int = ctypes.CDLL(None, use_errno=True).adjtimex(asked)
    return 0 <= state < _TIME_ERROR


def since_start_s() -> float:
    """Seconds since the board started, sleep included."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def start_name(procfs: Path) -> str:
    """Return the beginning of what the kernel calls this start of the board."""
    return (procfs / "sys" / "kernel" / "random" / "boot_id").read_text()[:_ENOUGH]


class BoardClock:
    """The clock of one start of the board.

    Parameters
    ----------
    wall
        Gives epoch seconds, right or wrong.
    since_start
        Gives seconds since the start; never set, never backwards.
    trusted
        Whether the wall clock is right now.
    """

    def __init__(
        self,
        *,
        wall: Callable[[], float],
        since_start: Callable[[], float],
        trusted: Callable[[], bool],
    ) -> None:
        self._wall = wall
        self._since_start = since_start
        self._trusted = trusted
        self._offset_s: float | None = None

    def since_start_s(self) -> float:
        """Seconds since the start."""
        return self._since_start()

    def offset_s(self) -> float | None:
        """Return what makes seconds since the start into epoch seconds; None while not known."""
        wall = self._wall()
        if wall >= EARLIEST_S and self._trusted():
            offset = wall - self._since_start()
            if self._offset_s is not None and abs(offset - self._offset_s) > STEP_S:
                _log.warning("The clock was set by %.1f s", offset - self._offset_s)
            self._offset_s = offset
        return self._offset_s
