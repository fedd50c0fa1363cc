"""The right to be the one process that runs the jobs."""

import logging
import os
import socket
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final
from uuid import uuid4

from drumkeep.errors import DrumkeepError, Unavailable
from drumkeep.storage import leases
from drumkeep.storage.engine import Engine
from drumkeep.storage.locks import SCHEDULE, locks_of
from drumkeep.storage.transaction import Tx, guarded, transaction

LENGTH: Final = timedelta(seconds=30)
"""After so long without a renewal it is on record that nobody ran the jobs."""
RENEW_S: Final = 10.0
LOOK_EVERY_S: Final = 0.5

_LOG: Final = logging.getLogger(__name__)


class RunnerLease:
    """Holds the lease by a lock, which passes on at once when this process dies.

    The holder is on record besides, and every transaction of a job asks whether it still is: a
    process that was halted, lost its lock meanwhile and wakes within a job writes nothing more.

    Parameters
    ----------
    engine
        Of the database whose lock it is.
    clock
        Reads the time.
    """

    def __init__(self, engine: Engine, *, clock: Callable[[], datetime]) -> None:
        self._engine = engine
        self._clock = clock
        self._holder = f"{socket.gethostname()[:40]} {os.getpid()} {uuid4().hex[:8]}"
        self._locks = locks_of(engine)
        self._on_record = False
        self._renewed_at = 0.0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._keep, name="schedule-lease", daemon=True)

    def start(self) -> None:
        """Take the lease as soon as it is free, and keep it, in a thread of its own."""
        self.look()
        self._thread.start()

    @property
    def held(self) -> bool:
        """Whether this process may run jobs."""
        return self._on_record and self._locks.holds(SCHEDULE)

    @property
    def engine(self) -> Engine:
        """The database as jobs are given it: it lets them write while the lease is held."""
        return guarded(self._engine, self._check)

    def look(self) -> None:
        """See whether the lease is ours; take it if it is free; never raises."""
        if not self._locks.beat() or not self._take():
            self._on_record = False
            return
        if not self._on_record or time.monotonic() >= self._renewed_at + RENEW_S:
            self._put_on_record()

    def release(self) -> None:
        """Give the lease back, so that another process takes it at once."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join()
        if self._on_record:
            self._on_record = False
            try:
                with transaction(self._engine) as tx:
                    leases.release(tx, name=leases.SCHEDULE, holder=self._holder, now=self._clock())
            except DrumkeepError as error:
                _LOG.warning("that the jobs are left was not put on record: %s", error)
        self._locks.close()

    def _keep(self) -> None:
        while not self._ended.wait(LOOK_EVERY_S):
            self.look()

    def _take(self) -> bool:
        if self._locks.holds(SCHEDULE):
            return True
        self._on_record = False
        self._locks.holders()  # which ends one that hangs
        return self._locks.take(SCHEDULE)

    def _put_on_record(self) -> None:
        begun = time.monotonic()
        try:
            with transaction(self._engine) as tx:
                leases.take(
                    tx,
                    name=leases.SCHEDULE,
                    holder=self._holder,
                    now=self._clock(),
                    length=LENGTH,
                )
        except DrumkeepError as error:
            _LOG.warning("who runs the jobs was not put on record: %s", error)
            return
        self._renewed_at = begun
        if not self._on_record:
            _LOG.info("this process runs the jobs now")
        self._on_record = True

    def _check(self, tx: Tx) -> None:
        if not leases.held(tx, name=leases.SCHEDULE, holder=self._holder):
            raise Unavailable("Another process runs the jobs now.")
