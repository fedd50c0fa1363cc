"""The disk below a store: whether there is one, how fast it flushes, and how a slower one would."""

import os
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any, Final

from sqlalchemy import event

from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading

IN_MEMORY: Final = {"tmpfs", "ramfs"}
_FLUSHES: Final = 40
_PAGE: Final = bytes(8192)
_SETTINGS: Final = {
    "sqlite": ("PRAGMA journal_mode", "PRAGMA synchronous"),
    "postgresql": ("SHOW fsync", "SHOW synchronous_commit", "SHOW full_page_writes"),
}


def below(url: str, *, folder: Path) -> dict[str, Any]:
    """Return what a store lies on, and what it does so that commits outlive the machine.

    Parameters
    ----------
    folder
        Where its files are.
    """
    engine = create(url)
    with reading(engine) as tx:
        connection = tx.session.connection()
        asked = _SETTINGS[connection.dialect.name]
        settings = {what: connection.exec_driver_sql(what).scalar() for what in asked}
    engine.dispose()
    return {"file_system": file_system(folder), "flush_ms": flush_ms(folder), **settings}


def file_system(folder: Path) -> str:
    """Return of what kind the file system is that a folder lies on."""
    mounted = [line.split()[1:3] for line in Path("/proc/mounts").read_text().splitlines()]
    path = folder.resolve()
    kinds = {Path(at): kind for at, kind in mounted if path.is_relative_to(at)}
    return kinds[max(kinds, key=lambda at: len(at.parts))]


def flush_ms(folder: Path) -> float:
    """Return how long the disk takes to flush a page (fdatasync); the median of many."""
    took = []
    with tempfile.TemporaryFile(dir=folder, buffering=0) as file:
        for _ in range(_FLUSHES):
            file.write(_PAGE)
            begun = time.perf_counter()
            os.fdatasync(file.fileno())
            took.append(time.perf_counter() - begun)
    return round(1000.0 * statistics.median(took), 3)


def hold_up(engine: Engine, *, flush_ms: float) -> None:
    """Have every commit take longer by so much."""
    if flush_ms:
        event.listen(engine, "commit", lambda _connection: time.sleep(flush_ms / 1000.0))
