"""Which other devices' topics are read, and how; looked up anew while the service runs.

JSON is read here by its mapping. Sparkplug is read in the transaction that stores it, since what a
message means depends on those before it.
"""

import logging
import time
from typing import Final

from drumkeep.domain.readings import PREFIX_LENGTH, ArrivedPack, Rejection
from drumkeep.errors import Unavailable
from drumkeep.ingest.backlog import LONGEST_PAYLOAD, Arrived
from drumkeep.operations.foreign import matches, read_message
from drumkeep.operations.foreign_mappings import KnownMapping, known_mappings
from drumkeep.operations.sparkplug import SparkplugMessage
from drumkeep.operations.sparkplug_groups import known_groups
from drumkeep.operations.sparkplug_wire import NAMESPACE
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading

_log = logging.getLogger(__name__)

LOOK_EVERY_S: Final = 5.0
_SPARKPLUG: Final = f"{NAMESPACE}/"


class ForeignTopics:
    """The mappings and the Sparkplug groups as they were looked up last.

    Parameters
    ----------
    engine
        The database.

    Attributes
    ----------
    known
        Whether they have been looked up: until then what comes may be taken for nothing.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._looked_at = -LOOK_EVERY_S
        self.known = False
        self._mappings: tuple[KnownMapping, ...] = ()
        self._filters: frozenset[str] = frozenset()

    @property
    def filters(self) -> frozenset[str]:
        """The topics to subscribe to."""
        return self._filters

    def look(self) -> None:
        """Look the mappings up if that is due; those known stay while the database is away."""
        if time.monotonic() < self._looked_at + LOOK_EVERY_S:
            return
        try:
            with reading(self._engine) as tx:
                self._mappings = known_mappings(tx)
                groups = known_groups(tx)
        except Unavailable as error:
            _log.warning("Mappings could not be looked up: %s", error.title)
            return
        self._filters = frozenset(
            [
                *(known.map.topic for known in self._mappings),
                *(topic for group in groups for topic in group.messages),
            ]
        )
        self._looked_at = time.monotonic()
        self.known = True

    def read(self, message: Arrived) -> list[ArrivedPack | SparkplugMessage] | None:
        """Read a message by every mapping of its topic; None if there is none of it."""
        if message.topic.startswith(_SPARKPLUG):
            return [_sparkplug(message)]
        found = [known for known in self._mappings if matches(known.map.topic, message.topic)]
        return [_pack(message, known) for known in found] or None


def _sparkplug(message: Arrived) -> SparkplugMessage:
    return SparkplugMessage(
        topic=message.topic,
        payload=message.payload,
        size=message.size,
        retained=message.retained,
        received_at=message.received_at,
    )


def _pack(message: Arrived, known: KnownMapping) -> ArrivedPack:
    if message.size > LONGEST_PAYLOAD:
        mend = f"Send messages of at most {LONGEST_PAYLOAD} octets."
        return _of(
            message, known, Rejection(None, "", f"{message.size} octets", "is too long", mend)
        )
    read = read_message(
        known.map, topic=message.topic, payload=message.payload, now=message.received_at
    )
    if message.retained and not read.timed:
        return _of(
            message,
            known,
            Rejection(
                None,
                "time",
                None,
                "was retained and says no time, so nobody knows when it was",
                "Have the device send its time, or publish without the retain flag.",
            ),
        )
    return ArrivedPack(
        source=message.topic,
        gateway=known.gateway,
        readings=read.readings,
        rejections=read.rejections,
        spool=None,
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
    )


def _of(message: Arrived, known: KnownMapping, rejection: Rejection) -> ArrivedPack:
    return ArrivedPack(
        source=message.topic,
        gateway=known.gateway,
        readings=(),
        rejections=(rejection,),
        spool=None,
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
    )
