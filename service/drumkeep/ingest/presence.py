"""Whether a gateway is there, from the message that it or its last will left."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.readings import GatewayKey
from drumkeep.ingest.backlog import Arrived
from drumkeep_wire.presence import decode_presence


@dataclass(frozen=True, slots=True)
class PresenceChange:
    """A gateway is there, or no longer.

    Attributes
    ----------
    since
        As the gateway says, and never later than the message came.
    """

    gateway: GatewayKey
    online: bool
    since: datetime


def presence_change(message: Arrived, gateway: GatewayKey) -> PresenceChange:
    """Read a presence message.

    Raises
    ------
    WireError
        It is none.
    """
    presence = decode_presence(message.payload)
    since = message.received_at
    if presence.time is not None:
        # A clock that is off by ages does not make the gateway less present.
        with suppress(ValueError, OverflowError, OSError):
            since = min(since, datetime.fromtimestamp(presence.time, tz=since.tzinfo))
    return PresenceChange(gateway, presence.state == "online", since)
