"""One session at the broker: from its connection to the database, started and stopped as one."""

import dataclasses
import logging
import threading
from collections.abc import Callable, Sequence

from drumkeep.ingest.address import Broker
from drumkeep.ingest.backlog import Arrived, Backlog
from drumkeep.ingest.foreign import ForeignTopics
from drumkeep.ingest.health import IngestHealth
from drumkeep.ingest.reader import Read, Reader
from drumkeep.ingest.share import Share
from drumkeep.ingest.subscriber import Clock, Subscriber
from drumkeep.ingest.writer import Writer
from drumkeep.storage.broker_sessions import Known
from drumkeep.storage.engine import Engine

_log = logging.getLogger(__name__)

STOPS_WITHIN_S = 5.0


class Session:
    """Two threads: the client's, which reads and queues, and the writer's, which stores.

    Parameters
    ----------
    engine
        The database, with its tables.
    broker
        Where messages come from.
    clock
        Gives the time, UTC.
    slot, slots
        Its number, and how many there shall be. Number 0 goes by the name of the broker's client
        that there was before there were several, so that it finds what is kept for that.
    may_connect
        Asked before each connection.
    turn
        Taken while a batch is stored, shared by the sessions of a process; one of its own if left
        out.
    backlog
        What waits; one of the usual size if left out.
    """

    def __init__(
        self,
        *,
        engine: Engine,
        broker: Broker,
        clock: Clock,
        slot: int,
        slots: int,
        may_connect: Callable[[], bool],
        turn: "threading.Lock | None" = None,
        backlog: Backlog[Read] | None = None,
    ) -> None:
        self.slot = slot
        self._backlog = Backlog[Read]() if backlog is None else backlog
        self._left_out = False
        foreign = ForeignTopics(engine)
        named = f"{broker.client_id}-{slot}" if slot else broker.client_id
        everything = [broker.topics.every("readings"), broker.topics.every("presence")]
        self._subscriber = Subscriber(
            broker=dataclasses.replace(broker, client_id=named),
            deliver=self._take_in,
            clock=clock,
            filters=[] if slot else everything,
            may_connect=lambda: foreign.known and may_connect(),
        )
        self._share = Share(
            engine=engine,
            subscriber=self._subscriber,
            topics=broker.topics,
            slot=slot,
            slots=slots,
        )
        self._reader = Reader(topics=broker.topics, foreign=foreign, passes=self._share.passes)
        self._writer = Writer(
            engine=engine,
            backlog=self._backlog,
            subscriber=self._subscriber,
            topics=broker.topics,
            clock=clock,
            foreign=foreign,
            other_devices=slot == 0,
            turn=threading.Lock() if turn is None else turn,
        )

    def start(self) -> None:
        """Begin; returns at once, whether or not the broker can be reached."""
        self._subscriber.start()
        self._writer.start()

    def tend(self, known: Known) -> None:
        """See to it that the session takes what it shall; raises Unavailable."""
        self._share.tend(known)

    @property
    def drained(self) -> bool:
        """Whether nothing can come by it any more."""
        return self._share.drained

    def stop(self, *, timeout_s: float = STOPS_WITHIN_S) -> bool:
        """Take no more, store and acknowledge what waits, tell the gateways, disconnect.

        Returns
        -------
        bool
            Whether all that had come is stored; what is not the broker brings again.
        """
        self._backlog.close()
        stored = self._writer.stop(timeout_s=timeout_s)
        if not stored:
            _log.warning("Readings that wait could not be stored; the broker keeps them")
        self._subscriber.stop()
        return stored and not self._left_out

    def forget(self) -> bool:
        """End it at the broker, once stopped and drained; whether that is certain."""
        return self._subscriber.forget()

    def health(self) -> IngestHealth:
        """Return how it goes now."""
        return IngestHealth(
            connected=self._subscriber.connected,
            network_alive=self._subscriber.alive,
            writer_alive=self._writer.alive,
            last_message_at=self._subscriber.last_message_at,
            last_commit_at=self._writer.last_commit_at,
            waiting=len(self._backlog),
            last_trouble=self._subscriber.trouble or self._writer.trouble,
        )

    def _take_in(self, messages: Sequence[Arrived]) -> None:
        # The last may say that nothing can come any more, while one before it is left out.
        read = [self._reader.read(message) for message in messages]
        self._left_out |= not self._backlog.put(read)
