"""Sends what waits in the outbox, in threads of its own: a slow receiver holds nobody else up."""

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from math import nan
from typing import Final

from drumkeep.domain.notices import CLAIMED_FOR
from drumkeep.errors import DrumkeepError
from drumkeep.notify.apprise_sender import Letter, send
from drumkeep.operations import outbox
from drumkeep.scheduler.jobs import Job
from drumkeep.storage import notices as rows
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction

AT_ONCE: Final = 6
"""Notices that are being sent at a time."""

MOST_THREADS: Final = 24
"""Threads at most, with those that a receiver holds on to beyond their claim."""

_LATELY: Final = timedelta(days=1)
_PATIENCE_S: Final = 15.0
_TELL_EVERY_S: Final = 15.0
_LOG: Final = logging.getLogger(__name__)


class NoticePost:
    """Claims notices, sends each in a thread, and records what came of it.

    Parameters
    ----------
    engine
        What became of a notice is recorded there whoever runs the jobs by then: it is known once.
    link_base
        How people reach the pages.
    sending
        False: nothing is sent, and what waits is dropped.
    """

    def __init__(self, engine: Engine, *, link_base: str | None, sending: bool = True) -> None:
        self._engine = engine
        self._ending = False
        self._link_base = link_base
        self._sending = sending
        self._flying: dict[threading.Thread, float] = {}
        self._sent = self._failed_tries = 0
        self._waiting = self._given_up = self._oldest_s = nan
        self._told_at = -_TELL_EVERY_S
        self._lock = threading.Lock()

    def start(self) -> None:
        """Do nothing yet: threads begin with the first notice."""

    def stop(self) -> None:
        """Wait a while for what is being sent; what hangs is left, and sent again after a start."""
        self._ending = True
        deadline = time.monotonic() + _PATIENCE_S
        for thread in list(self._flying):
            thread.join(max(0.0, deadline - time.monotonic()))

    @property
    def job(self) -> Job:
        """The job that looks into the outbox."""
        return Job("notices", self.run, every_s=2.0)

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for; NaN for "not yet"."""
        return {
            "drumkeep_notices_waiting": lambda: self._waiting,
            "drumkeep_notices_oldest_waiting_seconds": lambda: self._oldest_s,
            "drumkeep_notices_failed_last_day": lambda: self._given_up,
            "drumkeep_notices_sent": lambda: float(self._sent),
            "drumkeep_notices_tries_failed": lambda: float(self._failed_tries),
        }

    def run(self, engine: Engine, now: datetime) -> None:
        """Claim what is due and there is room for, and begin to send it."""
        if self._sending:
            self._look(engine, now)
        room = 0 if self._ending else self._room()
        with reading(engine) as tx:
            waits = outbox.waits(tx, now=now)
        if not waits or room == 0:
            return
        begun = time.monotonic()
        with transaction(engine) as tx:
            letters = outbox.claim(
                tx, most=room, link_base=self._link_base, sending=self._sending, now=now
            )
        for letter in letters:
            thread = threading.Thread(
                target=self._deliver,
                args=(letter, now, begun),
                name=f"notice {letter.notice_id}",
                daemon=True,  # one that hangs must not keep the process from ending
            )
            self._flying[thread] = begun
            thread.start()

    def wait(self) -> None:
        """Wait until nothing is being sent."""
        for thread in list(self._flying):
            thread.join()

    def _room(self) -> int:
        self._flying = {thread: at for thread, at in self._flying.items() if thread.is_alive()}
        claimed = time.monotonic() - CLAIMED_FOR.total_seconds()
        busy = sum(at > claimed for at in self._flying.values())
        return max(0, min(AT_ONCE - busy, MOST_THREADS - len(self._flying)))

    def _deliver(self, letter: Letter, now: datetime, begun: float) -> None:
        try:
            reason = send(letter)
            ended = now + timedelta(seconds=time.monotonic() - begun)
            with self._lock:
                self._sent += reason is None
                self._failed_tries += reason is not None
            self._record(letter, reason, ended)
        except Exception:  # noqa: BLE001 - a thread's end: nobody above would hear of it
            _LOG.exception("notice %s", letter.notice_id)

    def _record(self, letter: Letter, reason: str | None, ended: datetime) -> None:
        """Record what came of it; a busy database is asked again while the claim holds."""
        for pause_s in (1.0, 2.0, 4.0, None):
            try:
                with transaction(self._engine) as tx:
                    outbox.settle(
                        tx, notice_id=letter.notice_id, tries=letter.tries, reason=reason, now=ended
                    )
            except DrumkeepError as error:
                _LOG.warning("notice %s is not recorded yet: %s", letter.notice_id, error)
                if pause_s is not None:
                    time.sleep(pause_s)
            else:
                return

    def _look(self, engine: Engine, now: datetime) -> None:
        """Count for the gauges, now and then."""
        if time.monotonic() - self._told_at < _TELL_EVERY_S:
            return
        self._told_at = time.monotonic()
        with reading(engine) as tx:
            waiting, oldest, failed = rows.counts(tx, failed_since=now - _LATELY)
        self._waiting, self._given_up = float(waiting), float(failed)
        self._oldest_s = 0.0 if oldest is None else (now - oldest).total_seconds()


def forget_old(engine: Engine, now: datetime) -> None:
    """Delete what became of notices of long ago."""
    with transaction(engine) as tx:
        outbox.forget_old(tx, now=now)


FORGETTING: Final = Job("old notices", forget_old, every_s=6 * 3600.0)
