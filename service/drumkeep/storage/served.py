"""Who works on a database: any number together, or one alone who takes all of it along."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from drumkeep.errors import Conflict, Fault, Unavailable
from drumkeep.storage.engine import Engine
from drumkeep.storage.locks import SERVED, Locks, locks_of

_BEAT_S: Final = 1.0


@contextmanager
def together(engine: Engine) -> Iterator[None]:
    """Keep out, for as long as the block lasts, whoever needs the database alone.

    Raises
    ------
    Unavailable
        Somebody has it alone.
    """
    with _held(engine, lambda locks: locks.share(SERVED)) as held:
        if not held:
            raise Unavailable(
                "The database is being moved, or an archive is being brought into it."
            )
        yield


@contextmanager
def alone(engine: Engine) -> Iterator[None]:
    """Keep out, for as long as the block lasts, every service and every other command.

    Raises
    ------
    Conflict
        Somebody works on it.
    """
    with _held(engine, lambda locks: locks.take(SERVED)) as held:
        if not held:
            raise Conflict(
                "The database is in use.",
                [
                    Fault(
                        str(engine.url.database),
                        None,
                        "has a service or another command running on it",
                        "End every drumkeep process on it (web, ingest, schedule), and call the "
                        "command again.",
                    )
                ],
            )
        yield


@contextmanager
def _held(engine: Engine, take: Callable[[Locks], bool]) -> Iterator[bool]:
    """Hold a lock, and take it anew where the server lost it; give whether it was to be had."""
    locks = locks_of(engine)
    ended = threading.Event()

    def keep() -> None:
        while not ended.wait(_BEAT_S):
            locks.beat()
            take(locks)

    thread = threading.Thread(target=keep, name="served", daemon=True)
    try:
        held = take(locks)
        if held:
            thread.start()
        yield held
    finally:
        ended.set()
        if thread.is_alive():
            thread.join()
        locks.close()
