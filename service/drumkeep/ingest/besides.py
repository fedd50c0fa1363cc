"""What our session is subscribed to besides the topics of gateways.

The broker keeps subscriptions with the session while we are away, also those that nobody wants any
more when we come back; it cannot be asked which. So each is put on record before it is made, and
taken off the record once the broker has said that it is gone.
"""

import logging
from dataclasses import dataclass, field

from drumkeep.errors import Unavailable
from drumkeep.ingest.subscriber import Subscriber
from drumkeep.storage import subscriptions
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction

_log = logging.getLogger(__name__)


@dataclass
class _Connection:
    """What was asked of the broker in one connection, and of what it has not answered yet."""

    epoch: int
    asked: set[str] = field(default_factory=set)
    leaving: dict[int, frozenset[str]] = field(default_factory=dict)


class Besides:
    """Sees to it that these subscriptions are made and given up.

    Parameters
    ----------
    engine
        Where they are on record.
    subscriber
        The session's connection.
    """

    def __init__(self, engine: Engine, subscriber: Subscriber) -> None:
        self._engine = engine
        self._subscriber = subscriber
        self._connection = _Connection(epoch=-1)
        self._held: frozenset[str] | None = None

    def tend(self, wanted: frozenset[str]) -> None:
        """Do what is to be done now; what cannot be done is done the next time.

        Parameters
        ----------
        wanted
            The filters to be subscribed to; no others stay.
        """
        if not self._subscriber.connected:
            return
        if self._connection.epoch != self._subscriber.epoch:
            self._connection = _Connection(self._subscriber.epoch)
        try:
            self._collect()
            self._make(wanted)
            self._give_up(wanted)
        except Unavailable as error:
            _log.warning("Subscriptions wait for the database: %s", error.title)

    @property
    def _on_record(self) -> frozenset[str]:
        if self._held is None:
            with reading(self._engine) as tx:
                self._held = subscriptions.held_by(tx, client_id=self._subscriber.client_id)
        return self._held

    def _put_on_record(self, held: frozenset[str]) -> None:
        if held == self._on_record:
            return
        with transaction(self._engine) as tx:
            subscriptions.note(tx, client_id=self._subscriber.client_id, topics=held)
        self._held = held

    def _make(self, wanted: frozenset[str]) -> None:
        new = wanted - self._connection.asked
        if not new:
            return
        self._put_on_record(self._on_record | new)
        for topic in sorted(new):
            self._subscriber.subscribe([topic])
            _log.info("Reading %s besides", topic)
        self._connection.asked |= new

    def _give_up(self, wanted: frozenset[str]) -> None:
        gone = self._on_record - wanted - frozenset().union(*self._connection.leaving.values())
        if not gone:
            return
        number = self._subscriber.unsubscribe(sorted(gone))
        if number is not None:
            self._connection.leaving[number] = gone
            self._connection.asked -= gone

    def _collect(self) -> None:
        for number, gone in list(self._connection.leaving.items()):
            if self._subscriber.outcome(number) is not None:
                self._put_on_record(self._on_record - gone)
                del self._connection.leaving[number]
                _log.info("Reading %s no more", ", ".join(sorted(gone)))
