"""Ingest as a whole: from the broker to the database, started and stopped as one."""

import logging
from collections.abc import Callable
from typing import Final

from drumkeep.ingest.backlog import Backlog
from drumkeep.ingest.health import IngestHealth
from drumkeep.ingest.subscriber import Broker, Clock, Subscriber
from drumkeep.ingest.writer import Writer
from drumkeep.storage.engine import Engine

_log = logging.getLogger(__name__)

STOPS_WITHIN_S: Final = 5.0


class Intake:
    """Two threads: the client's, which queues, and the writer's, which stores.

    Parameters
    ----------
    engine
        The database, with its tables.
    broker
        Where messages come from.
    clock
        Gives the time, UTC.
    """

    def __init__(self, *, engine: Engine, broker: Broker, clock: Clock) -> None:
        self._backlog = Backlog()
        self._subscriber = Subscriber(broker=broker, backlog=self._backlog, clock=clock)
        self._writer = Writer(
            engine=engine,
            backlog=self._backlog,
            subscriber=self._subscriber,
            topics=broker.topics,
            clock=clock,
        )

    def start(self) -> None:
        """Begin; returns at once, whether or not the broker can be reached."""
        self._subscriber.start()
        self._writer.start()

    def stop(self, *, timeout_s: float = STOPS_WITHIN_S) -> None:
        """Take no more, store and acknowledge what waits, tell the gateways, disconnect."""
        self._backlog.close()
        if not self._writer.stop(timeout_s=timeout_s):
            _log.warning("Readings that wait could not be stored; the broker keeps them")
        self._subscriber.stop()

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

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for."""
        return {
            "drumkeep_ingest_well": lambda: float(self.health().well),
            "drumkeep_ingest_connected": lambda: float(self._subscriber.connected),
            "drumkeep_ingest_waiting_messages": lambda: float(len(self._backlog)),
        }
