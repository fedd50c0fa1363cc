"""The medium under a spool: a folder that a power cut leaves, and the room on it."""

import os
import shutil
from pathlib import Path
from typing import Final

SPOOL_FILE: Final = "readings.db"
LEAST_ROOM: Final = 2**20
"""Octets: the log, what it is worked into, and a little."""

BALLAST: Final = 2**20
"""Octets held back: the log once more, and what it is worked into."""

OCTETS_A_READING: Final = 60
"""On the medium, its place in the indices included."""

_BALLAST_FILE: Final = "ballast"


class Ballast:
    """Room held back on a medium: to forget something takes room for a moment, too.

    Without it a spool that has filled its medium would never drain.

    Parameters
    ----------
    folder
        Of the spool.

    Attributes
    ----------
    dropped
        Whether room was held back and is in use.
    """

    def __init__(self, folder: Path) -> None:
        self._file = folder / _BALLAST_FILE
        self.dropped = False

    def hold(self) -> None:
        """Hold room back, no more than half of what is free."""
        if not self._file.exists():
            try:
                octets = min(BALLAST, shutil.disk_usage(self._file.parent).free // 2)
                with self._file.open("wb") as held:
                    os.posix_fallocate(held.fileno(), 0, octets)
            except (OSError, ValueError):  # none, then: nothing depends on it while there is room
                self._file.unlink(missing_ok=True)
        self.dropped = False

    def hold_if_easy(self) -> bool:
        """Hold room back where there is so much that others made it; False where there is not."""
        if shutil.disk_usage(self._file.parent).free < 2 * BALLAST:
            return False
        self.hold()
        return True

    def drop(self) -> bool:
        """Give the room up; False when none was held."""
        try:
            self._file.unlink()
        except OSError:
            return False
        self.dropped = True
        return True


def make_to_stay(folder: Path) -> None:
    """Make a folder that a power cut leaves: what SQLite flushes is the folder, not its name.

    Its name lies in the folder above.
    """
    absent = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for made in absent:
        above = os.open(made.parent, os.O_RDONLY)
        try:
            os.fsync(above)
        finally:
            os.close(above)


def short_of_room(folder: Path, most: int) -> str | None:
    """Say when the medium has no room for as many readings as may be kept; None when it has.

    Parameters
    ----------
    folder
        Of the spool, made or not.
    most
        How many readings may be kept.
    """
    there = next(one for one in (folder, *folder.absolute().parents) if one.exists())
    ours = (*folder.glob(f"{SPOOL_FILE}*"), *folder.glob(_BALLAST_FILE))
    taken = sum(file.stat().st_size for file in ours)
    room, beside = shutil.disk_usage(there).free + taken, LEAST_ROOM + BALLAST
    needed = most * OCTETS_A_READING + beside
    if room >= needed:
        return None
    fitting = max(0, room - beside) // OCTETS_A_READING // 1000 * 1000
    return (
        f"spool.readings {most} may take {needed // 10**6} MB, and {str(there)!r} has room for "
        f"{room // 10**6} MB. Make room there, or set spool.readings to {fitting} at most: what a "
        "full medium does not take waits in memory, which a power cut empties."
    )


def little_room(folder: Path) -> str:
    """Say how little room there is, where that may be the reason."""
    try:
        free = shutil.disk_usage(folder).free
    except OSError:
        return ""
    return f", and only {free // 1000} kB are free there" if free < LEAST_ROOM else ""
