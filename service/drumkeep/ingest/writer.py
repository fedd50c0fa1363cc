"""Stores what arrived, batch by batch, and acknowledges it only then."""

import logging
import os
import threading
import time
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from drumkeep.domain.readings import ArrivedPack, GatewayKey
from drumkeep.errors import Unavailable
from drumkeep.ingest.backlog import Backlog
from drumkeep.ingest.besides import Besides
from drumkeep.ingest.foreign import ForeignTopics
from drumkeep.ingest.presence import PresenceChange
from drumkeep.ingest.reader import Read
from drumkeep.ingest.subscriber import Clock, Subscriber
from drumkeep.operations.presence import note_presence
from drumkeep.operations.readings import (
    BatchOutcome,
    Confirmation,
    record_batch,
    record_what_fits,
)
from drumkeep.operations.sparkplug import SparkplugMessage, hear, hear_what_fits
from drumkeep.operations.sparkplug_wire import command_topic, rebirth_request
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import Tx, transaction
from drumkeep_wire.committed import Committed, encode_committed
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

DIED: Final = 70
"""Exit status of a process whose writer died (EX_SOFTWARE of sysexits.h). Whoever watches the
process starts it again; one that goes on receiving and stores nothing would look well."""

BATCH_MESSAGES: Final = 5000
BATCH_OCTETS: Final = 16 * 2**20
LINGER_S: Final = 0.005
IDLE_S: Final = 0.5
FIRST_PAUSE_S: Final = 0.1
LONGEST_PAUSE_S: Final = 5.0
TELL_EVERY_S: Final = 0.2
"""A gateway hears of its commits at most so often: what counts is the highest number."""


class Writer:
    """One thread that stores.

    Parameters
    ----------
    engine
        The database.
    backlog
        What arrived, read.
    subscriber
        Acknowledges and publishes.
    topics
        Under which root gateways publish.
    clock
        Gives the time, UTC.
    foreign
        Which other devices' topics are read; looked up here.
    other_devices
        Whether to subscribe to the topics of other devices: one session does.
    turn
        Shared with the other sessions of this process: they wait for one another here and not at
        the database, where people would wait behind all of them.
    """

    def __init__(
        self,
        *,
        engine: Engine,
        backlog: Backlog[Read],
        subscriber: Subscriber,
        topics: Topics,
        clock: Clock,
        foreign: ForeignTopics,
        other_devices: bool,
        turn: threading.Lock,
    ) -> None:
        self._engine = engine
        self._backlog = backlog
        self._subscriber = subscriber
        self._topics = topics
        self._clock = clock
        self._other_devices = other_devices
        self._turn = turn
        self._foreign = foreign
        self._besides = Besides(engine, subscriber)
        self._stopping = threading.Event()
        self._untold: dict[tuple[GatewayKey, str], Confirmation] = {}
        self._told_at: dict[GatewayKey, float] = {}
        self._thread = threading.Thread(target=self._run, name="ingest-writer", daemon=True)
        self.last_commit_at: datetime | None = None
        self.trouble: str | None = None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, *, timeout_s: float) -> bool:
        """Store what waits in the closed backlog, and end.

        Returns
        -------
        bool
            False when the database kept it from ending in time; what is not stored stays
            unacknowledged, and the broker brings it again.
        """
        self._stopping.set()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def _run(self) -> None:
        try:
            self._foreign.look()
            while (batch := self._next_batch()) is not None:
                self._tend()
                if batch and not self._handle(batch):
                    return
                self._tell(at_once=False)
                self._check_network()
            self._tell(at_once=True)
        except BaseException:  # noqa: BLE001 - a dead writer must not go unnoticed
            _log.critical("The writer of readings ends, and the process with it", exc_info=True)
            logging.shutdown()
            os._exit(DIED)

    def _tend(self) -> None:
        self._foreign.look()
        if self._other_devices:
            self._besides.tend(self._foreign.filters)

    def _check_network(self) -> None:
        if not self._subscriber.alive and not self._stopping.is_set():
            raise RuntimeError("The network thread of the MQTT client has ended.")

    def _next_batch(self) -> list[Read] | None:
        return self._backlog.take(
            most_messages=BATCH_MESSAGES,
            most_octets=BATCH_OCTETS,
            timeout_s=TELL_EVERY_S if self._untold else IDLE_S,
            linger_s=LINGER_S,
        )

    def _handle(self, batch: Sequence[Read]) -> bool:
        """Store a batch and acknowledge it; False when it was given up because we stop."""
        read = [one for message in batch for one in message.contents]
        packs = [one for one in read if isinstance(one, ArrivedPack)]
        changes = [one for one in read if isinstance(one, PresenceChange)]
        sparkplug = [one for one in read if isinstance(one, SparkplugMessage)]
        outcome = self._store_patiently(packs, changes, sparkplug)
        if outcome is None:
            return False
        self._subscriber.acknowledge([one.message for one in batch])
        for told in outcome.confirmations:
            self._untold[told.gateway, told.spool] = told
        return True

    def _store_patiently(
        self,
        packs: Sequence[ArrivedPack],
        changes: Sequence[PresenceChange],
        sparkplug: Sequence[SparkplugMessage],
    ) -> BatchOutcome | None:
        """Try until the database takes it; None when we stop before it does.

        Nothing is sent again within a connection, so a batch that failed stays here.
        """
        pause = FIRST_PAUSE_S
        while True:
            try:
                with self._turn:
                    outcome = self._store(packs, changes, sparkplug)
            except Unavailable as error:
                self.trouble = error.title
                _log.warning("Readings wait for the database: %s", error.title)
                if self._stopping.wait(pause):
                    return None
                pause = min(2 * pause, LONGEST_PAUSE_S)
            else:
                self.trouble = None
                return outcome

    def _store(
        self,
        packs: Sequence[ArrivedPack],
        changes: Sequence[PresenceChange],
        sparkplug: Sequence[SparkplugMessage],
    ) -> BatchOutcome:
        now = self._clock()
        try:
            with transaction(self._engine) as tx:
                _note(tx, changes, now)
                heard = hear(tx, messages=sparkplug, now=now)
                outcome = record_batch(tx, packs=[*packs, *heard.packs], now=now)
        except Unavailable:
            raise
        except Exception:  # noqa: BLE001 - whatever it is, the others must be stored
            _log.exception("A batch could not be stored; its packs are tried in parts")
            with transaction(self._engine) as tx:
                _note(tx, changes, now)
                heard = hear_what_fits(tx, messages=sparkplug, now=now)
                outcome = record_what_fits(tx, packs=[*packs, *heard.packs], now=now)
        self.last_commit_at = now
        for ask in heard.asks:
            topic = command_topic(group=ask.group, node=ask.node)
            self._subscriber.publish(topic, rebirth_request(now=now), qos=0)
        return outcome

    def _tell(self, *, at_once: bool) -> None:
        """Publish what is committed, per gateway; kept until there is a connection."""
        now = time.monotonic()
        for key, told in list(self._untold.items()):
            due = self._told_at.get(told.gateway, -TELL_EVERY_S) + TELL_EVERY_S
            if now < due and not at_once:
                continue
            topic = self._topics.committed(site=told.gateway.site, gateway=told.gateway.code)
            payload = encode_committed(Committed(told.spool, told.upto))
            if not self._subscriber.publish_retained(topic, payload):
                return
            self._told_at[told.gateway] = now
            del self._untold[key]


def _note(tx: Tx, changes: Sequence[PresenceChange], now: datetime) -> None:
    for change in changes:
        note_presence(tx, gateway=change.gateway, online=change.online, since=change.since, now=now)
