"""Whether the database's disk is full, as this process saw it last.

A full disk lets pages be read and takes nothing; so it has to be said where people look. Now and
then it still takes a little that fits into a page: one success says nothing.
"""

import threading
import time
from typing import Final
from weakref import WeakKeyDictionary

from sqlalchemy import Pool

from drumkeep.storage.engine import Engine

WORDS: Final = "The disk of the database is full. Nothing was stored; make room on it."

BELIEVED_S: Final = 12.0
"""For so long a refusal counts: what writes by itself, readings and the scheduler, tries again
sooner, and where nothing is written nobody knows."""

_refused: WeakKeyDictionary[Pool, float] = WeakKeyDictionary()
# By the pool: an engine with options of its own is another engine of the same database.
_lock = threading.Lock()


def note_full(engine: Engine) -> None:
    """Note that the disk had no room for what was written."""
    with _lock:
        _refused[engine.pool] = time.monotonic()


def is_full(engine: Engine) -> bool:
    """Whether the disk had no room lately."""
    with _lock:
        at = _refused.get(engine.pool)
    return at is not None and time.monotonic() - at < BELIEVED_S
