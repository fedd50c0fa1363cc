"""The medium under a spool: a folder that a power cut leaves, and the room on it."""

import os
import shutil
from pathlib import Path
from typing import Final

SPOOL_FILE: Final = "readings.db"
LEAST_ROOM: Final = 2**20
"""Octets: the log, what it is worked into, and a little."""

OCTETS_A_READING: Final = 60
"""On the medium, its place in the indices included."""


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
    taken = sum(file.stat().st_size for file in folder.glob(f"{SPOOL_FILE}*"))
    room, needed = shutil.disk_usage(there).free + taken, most * OCTETS_A_READING + LEAST_ROOM
    if room >= needed:
        return None
    fitting = max(0, room - LEAST_ROOM) // OCTETS_A_READING // 1000 * 1000
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
