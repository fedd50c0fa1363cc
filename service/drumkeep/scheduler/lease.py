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

from drumkeep.errors import DrumkeepError
from drumkeep.storage import leases
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import transaction

LENGTH: Final = timedelta(seconds=30)
RENEW_S: Final = 10.0

_LOG: Final = logging.getLogger(__name__)


class RunnerLease:
    """Holds the lease by renewing it; a holder that cannot renew stops in time by itself.

    Parameters
    ----------
    engine
        Where the lease is stored.
    clock
        Reads the time.
    """

    def __init__(self, engine: Engine, *, clock: Callable[[], datetime]) -> None:
        self._engine = engine
        self._clock = clock
        self._holder = f"{socket.gethostname()[:40]} {os.getpid()} {uuid4().hex[:8]}"
        self._good_until = 0.0
        self._lock = threading.Lock()

    @property
    def held(self) -> bool:
        """Whether this process may run jobs; by its own monotonic clock."""
        return time.monotonic() < self._good_until

    def renew(self) -> None:
        """Take or renew the lease; never raises."""
        with self._lock:
            begun = time.monotonic()
            try:
                with transaction(self._engine) as tx:
                    taken = leases.take(
                        tx,
                        name=leases.SCHEDULE,
                        holder=self._holder,
                        now=self._clock(),
                        length=LENGTH,
                    )
            except DrumkeepError as error:
                _LOG.warning("the lease was not renewed: %s", error)
                return
            if taken and not self.held:
                _LOG.info("this process runs the jobs now")
            self._good_until = begun + LENGTH.total_seconds() * 0.8 if taken else 0.0

    def release(self) -> None:
        """Give the lease back, so that another process need not wait for its end."""
        with self._lock:
            self._good_until = 0.0
            try:
                with transaction(self._engine) as tx:
                    leases.release(tx, name=leases.SCHEDULE, holder=self._holder, now=self._clock())
            except DrumkeepError as error:
                _LOG.warning("the lease was not given back: %s", error)
