"""Ingest as a whole: the sessions at the broker that this process holds.

There is a fixed number of them, and each has one process at a time that receives by it, held by a
lock. Shared subscriptions would share messages out without locks, but the brokers that we know give
a dead member its part all the same.
"""

import gc
import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import Final

from drumkeep.domain.sharing import free, somebody_waits, target
from drumkeep.errors import Unavailable
from drumkeep.ingest.address import Broker
from drumkeep.ingest.health import IngestHealth
from drumkeep.ingest.session import STOPS_WITHIN_S, Session
from drumkeep.ingest.subscriber import Clock
from drumkeep.storage import broker_sessions
from drumkeep.storage.broker_sessions import Known
from drumkeep.storage.engine import Engine
from drumkeep.storage.locks import FIRST_SLOT, INGEST_WORKERS, Locks, locks_of
from drumkeep.storage.transaction import reading, transaction

_log = logging.getLogger(__name__)

BEAT_S: Final = 0.25
COLLECT_EVERY: Final = 20_000
"""New objects; Python's own 700 are a few packs."""
TEND_EVERY_S: Final = 1.0
REST_S: Final = 2.0
"""After a session was given up, or has been free, for so long the next is."""

_NOTHING: Final = Known(frozenset(), {}, {}, 0, {})


class Intake:
    """Holds its part of the sessions, and takes over those of processes that have died.

    Parameters
    ----------
    engine
        The database, with its tables.
    broker
        Where messages come from.
    clock
        Gives the time, UTC.
    slots
        How many sessions there are, the same for all processes; while they differ, messages come
        twice.
    """

    def __init__(self, *, engine: Engine, broker: Broker, clock: Clock, slots: int = 1) -> None:
        self._engine = engine
        self._broker = broker
        self._clock = clock
        self._slots = slots
        self._locks: Locks = locks_of(engine)
        self._turn = threading.Lock()
        self._sessions: dict[int, Session] = {}
        self._leaving: dict[int, threading.Thread] = {}
        self._known = _NOTHING
        self._tended_at = -TEND_EVERY_S
        self._gave_up_at = 0.0
        self._free_since: dict[int, float] = {}
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ingest", daemon=True)

    def start(self) -> None:
        """Begin; returns at once, whether or not the broker can be reached."""
        _spare_collections()
        self._look()
        self._thread.start()

    def stop(self, *, timeout_s: float = STOPS_WITHIN_S) -> None:
        """Take no more, store and acknowledge what waits, tell the gateways, disconnect."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join()
        for slot in list(self._sessions):
            self._leave(slot, timeout_s=timeout_s)
        for thread in self._leaving.values():
            thread.join()
        self._locks.close()

    @property
    def held(self) -> list[int]:
        """The sessions that this process receives by."""
        return sorted(self._sessions)

    def health(self) -> IngestHealth:
        """Return how it goes now with all sessions that this process holds."""
        some = [session.health() for session in list(self._sessions.values())]
        if not some:
            return IngestHealth(
                connected=False,
                network_alive=True,
                writer_alive=True,
                last_message_at=None,
                last_commit_at=None,
                waiting=0,
                last_trouble=None,
            )
        return IngestHealth(
            connected=all(one.connected for one in some),
            network_alive=all(one.network_alive for one in some),
            writer_alive=all(one.writer_alive for one in some),
            last_message_at=_latest([one.last_message_at for one in some]),
            last_commit_at=_latest([one.last_commit_at for one in some]),
            waiting=sum(one.waiting for one in some),
            last_trouble=next((one.last_trouble for one in some if one.last_trouble), None),
        )

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for."""
        return {
            # One that stands by, as others hold all sessions, is well too.
            "drumkeep_ingest_well": lambda: float(self.health().well or not self._sessions),
            "drumkeep_ingest_connected": lambda: float(self.health().connected),
            "drumkeep_ingest_sessions": lambda: float(len(self._sessions)),
            "drumkeep_ingest_waiting_messages": lambda: float(self.health().waiting),
        }

    def _run(self) -> None:
        while not self._ending.is_set():
            try:
                self._look()
                if time.monotonic() >= self._tended_at + TEND_EVERY_S:
                    self._tended_at = time.monotonic()
                    self._tend()
            except Unavailable as error:
                _log.warning("Sessions at the broker wait for the database: %s", error.title)
            except Exception:  # noqa: BLE001
                # Without this thread no lock would be kept.
                _log.exception("The sessions at the broker could not be looked after")
            self._ending.wait(BEAT_S)

    def _look(self) -> None:
        """Keep the locks, and hold as many sessions as is fair."""
        if not self._locks.beat():
            return  # nobody else can take over either; who is connected goes on
        self._locks.share(INGEST_WORKERS)
        for slot in [slot for slot, thread in self._leaving.items() if not thread.is_alive()]:
            del self._leaving[slot]
            self._locks.give_back(FIRST_SLOT + slot)
        for slot in self.held:
            if not self._locks.holds(FIRST_SLOT + slot):
                _log.warning("Another process has taken session %d over", slot)
                self._leave(slot)
        holders = self._locks.holders()
        workers = holders.get(INGEST_WORKERS, frozenset()) | {self._locks.me}
        slots = self._all_slots()
        held = {
            worker: sum(worker in holders.get(FIRST_SLOT + slot, ()) for slot in slots)
            for worker in workers
        }
        mine = target(me=self._locks.me, held=held, slots=len(slots))
        self._take_free(
            free(slots, held=[slot for slot in slots if holders.get(FIRST_SLOT + slot)]), mine
        )
        rested = time.monotonic() >= self._gave_up_at + REST_S
        if len(self._sessions) > mine and rested and somebody_waits(held=held, slots=len(slots)):
            self._gave_up_at = time.monotonic()
            self._leave(self.held[-1])

    def _take_free(self, slots: list[int], mine: int) -> None:
        now = time.monotonic()
        self._free_since = {slot: self._free_since.get(slot, now) for slot in slots}
        for slot in slots:
            # More than our share only of what nobody else has taken, though they could have.
            fair = len(self._sessions) + len(self._leaving) < mine
            if not fair and now < self._free_since[slot] + REST_S:
                continue
            if slot not in self._leaving and self._locks.take(FIRST_SLOT + slot):
                self._begin(slot)

    def _begin(self, slot: int) -> None:
        """Receive by a session whose lock has just been taken."""
        try:
            wanted = self._enlist(slot)
        except Unavailable:
            self._locks.give_back(FIRST_SLOT + slot)
            raise
        if not wanted:
            self._locks.give_back(FIRST_SLOT + slot)
            return
        _log.info("This process receives by session %d of %d", slot, self._slots)
        self._sessions[slot] = Session(
            engine=self._engine,
            broker=self._broker,
            clock=self._clock,
            slot=slot,
            slots=self._slots,
            may_connect=lambda: self._locks.holds(FIRST_SLOT + slot),
            turn=self._turn,
        )
        self._sessions[slot].start()

    def _enlist(self, slot: int) -> bool:
        """Put a session on record; False for one that another process has just done away with."""
        if slot >= self._slots:
            with reading(self._engine) as tx:
                self._known = broker_sessions.look(tx)
            return slot in self._known.answered
        if self._slots > 1:
            with transaction(self._engine) as tx:
                broker_sessions.enlist(tx, slot=slot)
        return True

    def _leave(self, slot: int, *, timeout_s: float = STOPS_WITHIN_S) -> None:
        """Stop receiving by a session, and give it back once all that had come is stored."""
        session = self._sessions.pop(slot)

        def leave() -> None:
            stored = session.stop(timeout_s=timeout_s)
            if stored and session.drained and session.forget():
                with transaction(self._engine) as tx:
                    broker_sessions.delist(tx, slot=slot)
                _log.info("Session %d is empty and no more", slot)

        thread = threading.Thread(target=leave, name=f"ingest-leave-{slot}", daemon=True)
        self._leaving[slot] = thread
        thread.start()

    def _tend(self) -> None:
        """See to it that each session takes what it shall."""
        with reading(self._engine) as tx:
            self._known = broker_sessions.look(tx)
        for slot in self.held:
            session = self._sessions[slot]
            session.tend(self._known)
            if session.drained:
                self._leave(slot)

    def _all_slots(self) -> list[int]:
        """Return all sessions: those there shall be, and those that must be emptied first."""
        return sorted({*range(self._slots), *self._known.answered})


def _spare_collections() -> None:
    """Have the collector look at less, less often: it holds up all threads of the process.

    What imports made stays for good, and of what a batch makes nothing is part of a cycle. By
    default it takes half as long as all the rest of storing a batch.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(COLLECT_EVERY)


def _latest(times: list[datetime | None]) -> datetime | None:
    return max((one for one in times if one is not None), default=None)
