"""What the benchmarks of ingest send: a company's gateways and sensors, their packs, a publisher.

The publisher speaks MQTT 3.1.1 on a bare socket and costs next to nothing: what is measured is who
receives.
"""

import itertools
import select
import socket
import struct
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Final

from drumkeep.storage.catalogue import add, gateway_by_code
from drumkeep.storage.engine import Engine
from drumkeep.storage.tables.catalogue import Gateway, Mount, Place, Sensor, Site
from drumkeep.storage.transaction import transaction
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics

GATEWAYS: Final = 20
SENSORS_EACH: Final = 50
PLACES: Final = 40
SITE: Final = "north"
_EARLY: Final = datetime(2020, 1, 1, tzinfo=UTC)
EVERY_S: Final = 60
SPOOL: Final = "0a1b2c3d"
_WINDOW: Final = 500
"""Messages on the way to the broker without its answer."""
_HIGHEST_MID: Final = 65_535
_PUBLISH_QOS_1: Final = 0x32
_PUBACK_OCTETS: Final = 4

Message = tuple[str, bytes]
"""Topic and payload."""


def furnish(engine: Engine) -> None:
    """Register the company: each sensor hangs in a place."""
    with transaction(engine) as tx:
        site = add(tx, Site(code=SITE, name="North", timezone="America/Chicago")).id
        assert site is not None
        places = [
            add(
                tx,
                Place(
                    site_id=site,
                    code=f"p{n}",
                    name=f"Place {n}",
                    kind="warehouse",
                    motion="still",
                    standing="pallet",
                ),
            ).id
            for n in range(PLACES)
        ]
        for n in range(GATEWAYS):
            gateway = add(tx, Gateway(site_id=site, code=f"g{n}", urn=_urn(n))).id
            assert gateway is not None
            for m in range(SENSORS_EACH):
                sensor = add(tx, _registered(n, m, gateway_id=gateway)).id
                assert sensor is not None
                place = places[(n * SENSORS_EACH + m) % PLACES]
                add(tx, Mount(sensor_id=sensor, what="air", place_id=place, since=_EARLY))


def add_spares(engine: Engine, *, each: int) -> None:
    """Register so many sensors more on each gateway, which hang nowhere."""
    with transaction(engine) as tx:
        for n in range(GATEWAYS):
            gateway = gateway_by_code(tx, site=SITE, code=f"g{n}")
            assert gateway is not None
            for m in range(SENSORS_EACH, SENSORS_EACH + each):
                add(tx, _registered(n, m, gateway_id=gateway.id))


def _registered(gateway: int, number: int, *, gateway_id: int) -> Sensor:
    return Sensor(
        name=_sensor(gateway, number),
        gateway_id=gateway_id,
        quantity="temperature",
        unit="Cel",
        interval_s=EVERY_S,
    )


def packs(count: int, *, records: int, since_s: int) -> Iterator[Message]:
    """Give so many packs, numbered by their gateways, of so many readings each, none twice.

    Parameters
    ----------
    since_s
        Time of the first readings, s since 1970.
    """
    rounds = GATEWAYS * (SENSORS_EACH // records)
    for number in range(count):
        yield pack(number, records=records, at_s=since_s + number // rounds * EVERY_S)


def pack(number: int, *, records: int, at_s: float, each: int = SENSORS_EACH) -> Message:
    """Give one pack; gateways take turns, and so do the sensors of each."""
    turn, gateway = divmod(number, GATEWAYS)
    first = turn % (each // records) * records
    readings = [
        Record(
            name=_sensor(gateway, m),
            unit="Cel",
            value=15.0 + 0.01 * ((turn + m) % 700),
            time=float(at_s),
        )
        for m in range(first, first + records)
    ]
    payload = encode_pack(readings, spool=Spool(_urn(gateway), SPOOL, turn + 1))
    return Topics().readings(site=SITE, gateway=f"g{gateway}"), payload


def number_of(topic: str, payload: bytes) -> int:
    """Return which of the packs this is, from 0."""
    turn = int(payload[payload.index(b'"v":') + 4 : payload.index(b"}")]) - 1
    return turn * GATEWAYS + int(topic.split("/")[-2].removeprefix("g"))


class Publisher:
    """Publishes with QoS 1."""

    def __init__(self, host: str, port: int) -> None:
        self._socket = socket.create_connection((host, port))
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # protocol 4 (3.1.1), clean session, no keepalive, no client id
        self._socket.sendall(b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x00\x00\x00")
        answer = self._socket.recv(4)
        assert answer == b"\x20\x02\x00\x00", answer
        self._mids = itertools.cycle(range(1, _HIGHEST_MID + 1))
        self._owed = 0

    def close(self) -> None:
        self._socket.sendall(b"\xe0\x00")
        self._socket.close()

    def publish(self, messages: Sequence[Message]) -> None:
        """Publish as fast as the broker takes them, and return when it has them all."""
        for start in range(0, len(messages), _WINDOW):
            self._send(messages[start : start + _WINDOW])
            self._settle()

    def steadily(self, messages: Sequence[Message], *, per_s: float) -> list[float]:
        """Publish at a steady rate; return when each was handed over, by the monotonic clock."""
        sent: list[float] = []
        begun = time.monotonic()
        while len(sent) < len(messages):
            due = min(len(messages), int((time.monotonic() - begun) * per_s) + 1)
            if due > len(sent):
                some = messages[len(sent) : due]
                now = time.monotonic()
                self._send(some)
                sent += [now] * len(some)
            while select.select([self._socket], [], [], 0)[0]:
                self._owed -= len(self._socket.recv(65_536))
            time.sleep(0.0005)
        self._settle()
        return sent

    def _send(self, messages: Sequence[Message]) -> None:
        self._socket.sendall(b"".join(_publish(*message, next(self._mids)) for message in messages))
        self._owed += _PUBACK_OCTETS * len(messages)

    def _settle(self) -> None:
        while self._owed > 0:
            self._owed -= len(self._socket.recv(65_536))


def _publish(topic: str, payload: bytes, mid: int) -> bytes:
    name = topic.encode()
    body = struct.pack("!H", len(name)) + name + struct.pack("!H", mid) + payload
    length, left = bytearray(), len(body)
    while True:
        left, octet = left >> 7, left & 0x7F
        length.append(octet | (0x80 if left else 0))
        if not left:
            return bytes([_PUBLISH_QOS_1]) + bytes(length) + body


def _urn(gateway: int) -> str:
    return f"urn:dev:os:32473-g{gateway}"


def _sensor(gateway: int, number: int) -> str:
    return f"urn:dev:ow:10{gateway:02x}{number:04x}01080063:temp"
