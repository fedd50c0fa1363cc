"""Reads messages as they arrive: what they say, and which of them are ours to store.

It is done where messages are received, so that one batch is read while the one before is stored:
ten readings take PostgreSQL as long to store as they take us to read.
"""

import logging
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from drumkeep.domain.readings import PREFIX_LENGTH, ArrivedPack
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.foreign import ForeignTopics
from drumkeep.ingest.presence import PresenceChange
from drumkeep.ingest.translate import translate, unreadable
from drumkeep.operations.sparkplug import SparkplugMessage
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

_OCTETS_A_MESSAGE: Final = 1000
_OCTETS_A_RECORD: Final = 260
"""What a reading takes, or the reason why a record is none; measured, as a bound on memory."""

Content = ArrivedPack | PresenceChange | SparkplugMessage


class Read(NamedTuple):
    """A message and what it says.

    Attributes
    ----------
    message
        As it came.
    contents
        What is to be stored of it; nothing where another session does that.
    octets
        About what both take in memory.
    """

    message: Arrived
    contents: Sequence[Content]
    octets: int


class Reader:
    """Reads the messages of one session, in the order in which they came.

    Parameters
    ----------
    topics
        Under which root gateways publish.
    foreign
        How other devices' messages are read.
    passes
        Whether a message is none to store, as another session takes it.
    """

    def __init__(
        self, *, topics: Topics, foreign: ForeignTopics, passes: Callable[[Arrived], bool]
    ) -> None:
        self._topics = topics
        self._foreign = foreign
        self._passes = passes

    def read(self, message: Arrived) -> Read:
        """Read a message; one that cannot be read is refused, whatever the reason."""
        contents: Sequence[Content]
        try:
            contents = self._contents(message)
        except Exception:  # noqa: BLE001 - the others must be read
            _log.exception("A message of %s could not be read", message.topic[:100])
            contents = [unreadable(message, topics=self._topics)]
        records = sum(
            len(one.readings) + len(one.rejections)
            for one in contents
            if isinstance(one, ArrivedPack)
        )
        kept = len(message.payload) + min(len(message.payload), PREFIX_LENGTH)
        return Read(message, contents, kept + _OCTETS_A_MESSAGE + _OCTETS_A_RECORD * records)

    def _contents(self, message: Arrived) -> Sequence[Content]:
        if self._passes(message):
            return ()
        return self._foreign.read(message) or [translate(message, topics=self._topics)]
