"""A streaming replica of PostgreSQL to read from, for as long as it keeps up."""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from math import inf
from typing import Final

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from drumkeep.storage.engine import READ_ONLY, Engine

_LOG: Final = logging.getLogger(__name__)

STALE_S: Final = 5.0
"""A replica whose state is older than this is not read from."""
LOOK_EVERY_S: Final = 0.5

_REMEMBERED: Final = 4 * int(STALE_S / LOOK_EVERY_S)
# How far a log of changes is: octets since its beginning. A log that is applied can only be asked
# on a server that applies one: NULL means that this one does not, and is no replica.
_WRITTEN: Final = text("SELECT pg_wal_lsn_diff(pg_current_wal_flush_lsn(), '0/0')::bigint")
_APPLIED: Final = text("SELECT pg_wal_lsn_diff(pg_last_wal_replay_lsn(), '0/0')::bigint")


class Replica:
    """Knows how old the replica's state is.

    Its own clock tells of the last change only, and a replica that hears nothing does not know that
    it is behind. So the primary is asked now and then how far its log of changes is; what the
    replica has applied is as new as the newest such answer that it has reached.

    Parameters
    ----------
    engine
        Of the replica.
    primary
        Of the database that it follows.
    """

    def __init__(self, engine: Engine, *, primary: Engine) -> None:
        self.engine = engine
        self._primary = primary
        self._written: deque[tuple[float, int]] = deque(maxlen=_REMEMBERED)
        self._as_of = -inf
        self._was_fresh = False
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="replica", daemon=True)

    def start(self) -> None:
        """Begin to look, in a thread of its own."""
        self._thread.start()

    def stop(self) -> None:
        """End, and let go of the replica."""
        self._ending.set()
        self._thread.join()
        self.engine.dispose()

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for."""
        return {"drumkeep_replica_age_seconds": lambda: self.age_s}

    @property
    def age_s(self) -> float:
        """How old its state may be; infinite when that is not known."""
        return time.monotonic() - self._as_of

    @property
    def fresh(self) -> bool:
        """Whether it may be read from."""
        return self.age_s < STALE_S

    def doubt(self) -> None:
        """Note that it could not be reached: nobody reads from it until it has been heard again."""
        self._as_of = -inf

    def look(self) -> None:
        """Ask both how far they are; never raises."""
        begun = time.monotonic()
        try:
            written = _ask(self._primary, "written")
            applied = _ask(self.engine, "applied")
        except SQLAlchemyError:
            # Which of the two is away does not matter: without either nothing new is known.
            pass
        else:
            self._compare(begun, written, applied)
        if self.fresh != self._was_fresh:
            self._was_fresh = self.fresh
            _LOG.warning(
                "The replica is %s", "read from" if self.fresh else "away or behind, and left alone"
            )

    def _compare(self, begun: float, written: int | None, applied: int | None) -> None:
        if written is None or applied is None:
            self.doubt()
            return
        self._written.append((begun, written))
        reached = [at for at, far in self._written if far <= applied]
        self._as_of = max(reached, default=self._as_of)

    def _run(self) -> None:
        while True:
            self.look()
            if self._ending.wait(LOOK_EVERY_S):
                return


def _ask(engine: Engine, what: str) -> int | None:
    reader = engine.execution_options(**{READ_ONLY: True})
    with reader.connect() as connection:
        found: int | None = connection.scalar(_WRITTEN if what == "written" else _APPLIED)
        return found
