"""Messages between the network thread, which only puts, and the writer thread, which only takes."""

import threading
from collections import deque
from collections.abc import Sequence
from datetime import datetime
from typing import Final, Generic, NamedTuple, Protocol, TypeVar

MOST_MESSAGES: Final = 20_000
MOST_OCTETS: Final = 64 * 2**20

LONGEST_PAYLOAD: Final = 2**20
"""Octets; a longer message is kept as its beginning, to be refused with its reason."""


class Arrived(NamedTuple):
    """A message as it came.

    Attributes
    ----------
    topic, payload
        The payload is cut to its beginning where ``size`` exceeds :data:`LONGEST_PAYLOAD`.
    size
        Octets that were sent.
    retained
        The broker had kept it from before we subscribed.
    received_at
        By our clock.
    mid, qos, epoch
        What it takes to acknowledge it, and the connection in which that means anything.
    """

    topic: str
    payload: bytes
    size: int
    retained: bool
    received_at: datetime
    mid: int
    qos: int
    epoch: int


class Waits(Protocol):
    """A message of whatever kind."""

    @property
    def octets(self) -> int:
        """About what it takes in memory."""


_Message = TypeVar("_Message", bound=Waits)


class Backlog(Generic[_Message]):
    """A queue bounded in messages and octets.

    A full one makes :meth:`put` wait, and with it the network thread: TCP then holds the broker
    back, which is the only flow control that brokers keep to.

    Whoever takes is woken once for the first message and once for a full batch: woken for each, it
    would do little else than take turns with the network thread.
    """

    def __init__(
        self, *, most_messages: int = MOST_MESSAGES, most_octets: int = MOST_OCTETS
    ) -> None:
        self._most_messages = most_messages
        self._most_octets = most_octets
        self._messages: deque[_Message] = deque()
        self._octets = 0
        self._closed = False
        self._awaited = 1
        # Held by its own name, which is four times as fast as by that of the condition.
        self._lock = threading.Lock()
        self._changed = threading.Condition(self._lock)

    def __len__(self) -> int:
        """Count the messages that wait."""
        return len(self._messages)

    def put(self, messages: Sequence[_Message]) -> bool:
        """Add messages; wait while there is no room for the next of them.

        Returns
        -------
        bool
            False when the backlog was closed: the rest is dropped, unacknowledged, and the broker
            brings it again.
        """
        with self._lock:
            for message in messages:
                if self._closed or not self._has_room(message):
                    self._changed.wait_for(lambda: self._closed or self._has_room(message))  # noqa: B023 - called at once
                    if self._closed:
                        return False
                self._messages.append(message)
                self._octets += message.octets
                if len(self._messages) == self._awaited:
                    self._changed.notify_all()
            return True

    def take(
        self, *, most_messages: int, most_octets: int, timeout_s: float, linger_s: float
    ) -> list[_Message] | None:
        """Take the oldest messages.

        Parameters
        ----------
        most_messages, most_octets
            A batch ends before it exceeds either; one message is taken whatever its size.
        timeout_s
            How long to wait for the first.
        linger_s
            How long to wait for more once one has come: a commit costs the same for many. What
            has waited already, while the batch before was stored, is taken at once.

        Returns
        -------
        list[_Message] | None
            Empty when none came in time; None when the backlog is closed and empty.
        """
        with self._lock:
            if not self._messages:
                self._await(1, timeout_s)
                if not self._messages:
                    return None if self._closed else []
                self._await(most_messages, linger_s)
            taken: list[_Message] = []
            octets = 0
            while self._messages and len(taken) < most_messages:
                octets += self._messages[0].octets
                if taken and octets > most_octets:
                    break
                taken.append(self._messages.popleft())
            self._octets -= sum(message.octets for message in taken)
            self._changed.notify_all()
            return taken

    def close(self) -> None:
        """Let nothing more in; what waits can still be taken."""
        with self._lock:
            self._closed = True
            self._changed.notify_all()

    def _await(self, messages: int, timeout_s: float) -> None:
        self._awaited = messages
        self._changed.wait_for(lambda: self._closed or len(self._messages) >= messages, timeout_s)

    def _has_room(self, message: _Message) -> bool:
        return not self._messages or (
            len(self._messages) < self._most_messages
            and self._octets + message.octets <= self._most_octets
        )
