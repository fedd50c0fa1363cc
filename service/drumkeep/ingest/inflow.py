"""Takes messages off the connection to the broker, all that have come at once.

paho reads octet by octet and packet by packet, and waits for the socket before each: more than all
that is done with a reading until it is stored. So between its socket and it stands one that takes
messages (PUBLISH) out of the stream and lets all other packets pass, in their order.
"""

import ssl
import struct
from collections.abc import Callable, Sequence
from typing import Any, Final, NamedTuple, Protocol

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.packettypes import PacketTypes

_AT_ONCE: Final = 2**16
_PUBLISH: Final = 3
_LONGEST_HEAD: Final = 5
"""Octets: the kind of packet and up to four of its length."""
_GOES_ON: Final = 128
"""In an octet of a length: another one follows."""

_PUBACK: Final = struct.Struct("!HH")
_PUBACK_HEAD: Final = 0x4002
"""Of a success, in 3.1.1 and 5.0 alike: the kind of packet and that a message's number follows."""

_BROKEN: Final = "The broker sent a packet that is none."


class Published(NamedTuple):
    """A message as the broker sent it.

    Attributes
    ----------
    mid
        0 of one that is not to be acknowledged.
    """

    topic: str
    payload: bytes
    retained: bool
    qos: int
    mid: int


Deliver = Callable[[Sequence[Published]], None]


class Connection(Protocol):
    """What paho needs of a socket."""

    def recv(self, size: int, /) -> bytes: ...  # noqa: D102
    def send(self, octets: bytes | bytearray, /) -> int: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102
    def fileno(self) -> int: ...  # noqa: D102
    def setblocking(self, flag: bool, /) -> None: ...  # noqa: D102, FBT001 - as sockets have it


class Inflow:
    """The receiving side of a connection.

    Parameters
    ----------
    connection
        Where octets come from.
    properties
        Whether messages carry properties: since MQTT 5.0.
    deliver
        Gets the messages in their order; may take its time, which holds the broker back. Must not
        raise.
    """

    def __init__(self, connection: Connection, *, properties: bool, deliver: Deliver) -> None:
        self._connection = connection
        self._properties = properties
        self._deliver = deliver
        self.send, self.close = connection.send, connection.close
        self.fileno, self.setblocking = connection.fileno, connection.setblocking
        self._passing = b""
        self._parts: list[bytes] = []
        self._have = 0
        self._need = 1
        self._unsifted = False

    def pending(self) -> int:
        """Return whether there is more to receive than the system knows of."""
        inner = self._connection
        return self._unsifted or (inner.pending() if isinstance(inner, ssl.SSLSocket) else 0)

    def recv(self, size: int) -> bytes:
        """Return the next octets that belong to no message; deliver the messages before them.

        Raises
        ------
        OSError
            BlockingIOError: there are none now. Others: the connection is lost, or what came makes
            no sense.
        """
        if not self._passing:
            if not self._unsifted:
                octets = self._connection.recv(_AT_ONCE)
                if not octets:
                    return b""
                self._parts.append(octets)
                self._have += len(octets)
            # A long packet is put together once, when all of it is there.
            if self._have >= self._need:
                self._sift(b"".join(self._parts))
            if not self._passing:
                raise BlockingIOError
        some, self._passing = self._passing[:size], self._passing[size:]
        return some

    def _sift(self, octets: bytes) -> None:
        """Take messages out, up to the first other packet: what it does must be done first."""
        found: list[Published] = []
        start, self._need, self._unsifted = 0, 1, False
        try:
            while start < len(octets):
                body, end = _frame(octets, start)
                if end > len(octets):
                    self._need = end - start
                    break
                kind, qos = octets[start] >> 4, octets[start] >> 1 & 3
                if kind == _PUBLISH and qos <= 1:
                    found.append(self._message(octets, start, body, end))
                    start = end
                    continue
                self._passing = octets[start:end]
                start = end
                self._unsifted = start < len(octets)
                break
        except IndexError:
            raise ConnectionError(_BROKEN) from None
        self._parts, self._have = [octets[start:]], len(octets) - start
        if found:
            self._deliver(found)

    def _message(self, octets: bytes, start: int, body: int, end: int) -> Published:
        at = body + 2 + (octets[body] << 8 | octets[body + 1])
        topic = str(octets[body + 2 : at], "utf-8", "replace")
        qos, mid = octets[start] >> 1 & 3, 0
        if qos:
            mid = octets[at] << 8 | octets[at + 1]
            at += 2
        if self._properties:
            # None of them means anything to us.
            length, at = _number(octets, at)
            at += length
        if at > end:
            raise ConnectionError(_BROKEN)
        return Published(topic, octets[at:end], bool(octets[start] & 1), qos, mid)


class ReceivingClient(Client):
    """paho's client, which hands messages over, and acknowledges them, many at once.

    paho has no public way for either. Should a later one go past the ways that are taken here, it
    does both one by one: several times slower, and nothing is lost.

    Parameters
    ----------
    arguments
        As paho's client takes them.
    properties, deliver
        As :class:`Inflow` takes them.
    """

    def __init__(
        self,
        *arguments: Any,  # noqa: ANN401
        properties: bool,
        deliver: Deliver,
        **named: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*arguments, **named)
        self._properties = properties
        self._deliver = deliver
        self.on_message = self._hand_over

    def acknowledge(self, mids: Sequence[int]) -> None:
        """Acknowledge these messages, in this order; from any thread."""
        queue = getattr(self, "_packet_queue", None)
        if queue is None:
            for mid in mids:
                self.ack(mid, 1)
            return
        # One by one each would wake the network thread and be written by itself, a fifth of all
        # that a message costs.
        packets = b"".join(_PUBACK.pack(_PUBACK_HEAD, mid) for mid in mids)
        queue(PacketTypes.PUBACK << 4, packets, mids[-1], 1)

    def _create_socket(self) -> Inflow:
        # Where paho itself puts a stand-in for a socket, to speak through WebSockets.
        return Inflow(super()._create_socket(), properties=self._properties, deliver=self._deliver)

    def _hand_over(self, _client: Client, _data: object, one: MQTTMessage) -> None:
        self._deliver([Published(one.topic, bytes(one.payload), one.retain, one.qos, one.mid)])


def _frame(octets: bytes, start: int) -> tuple[int, int]:
    """Return where the body of a packet begins and ends; one past all while that is unknown."""
    if len(octets) - start < _LONGEST_HEAD and all(
        octet >= _GOES_ON for octet in octets[start + 1 :]
    ):
        return start, len(octets) + 1
    length, body = _number(octets, start + 1)
    return body, body + length


def _number(octets: bytes, at: int) -> tuple[int, int]:
    """Read a number of variable length (MQTT 5.0, 1.5.5); return also where it ends."""
    number = octets[at] & 127
    for shift in (7, 14, 21):
        if octets[at] < _GOES_ON:
            break
        at += 1
        number |= (octets[at] & 127) << shift
    if octets[at] >= _GOES_ON:
        raise ConnectionError(_BROKEN)
    return number, at + 1
