"""Publishes packs until the service confirms them.

An acknowledgement of the broker only moves the window: brokers lose what they acknowledged when
they are killed at the wrong moment. What counts is ``committed``, which the service publishes once
a pack is in its database.
"""

import logging
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
    MQTTv5,
)
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from drumkeep_sensors.spool import PackSpool
from drumkeep_wire.committed import decode_committed
from drumkeep_wire.errors import WireError
from drumkeep_wire.presence import Presence, encode_presence
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

WINDOW: Final = 100
"""Packs under way at a time."""
SEND_AGAIN_S: Final = 60.0
UNHEARD_AGAIN_S: Final = 5.0
"""How soon a pack is sent again that nobody had subscribed to: the service is on its way."""
KEEPALIVE_S: Final = 30
SLOWEST_RECONNECT_S: Final = 30
LEAVES_WITHIN_S: Final = 1.0


@dataclass(frozen=True)
class Identity:
    """Who publishes, and where to."""

    host: str
    port: int
    topics: Topics
    site: str
    gateway: str
    username: str | None = None
    password: str | None = None


class Publisher:
    """Owns the connection to the broker; everything but paho's callbacks runs in one thread.

    The callbacks put what happened into a queue and do nothing else: an exception in one would end
    paho's thread, and the client would go on calling itself connected.

    Parameters
    ----------
    identity
        Who publishes, and where to.
    spool
        Packs to publish.
    clock
        Gives epoch seconds.
    """

    def __init__(self, *, identity: Identity, spool: PackSpool, clock: Callable[[], float]) -> None:
        self._identity = identity
        self._spool = spool
        self._clock = clock
        self._happened: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._due_at: dict[int, float] = {}
        self._number_of: dict[int, int] = {}
        self._connected = False
        # Until the service has confirmed anything of this spool file, only its oldest pack is under
        # way: the first one that the service sees is where it takes the file to begin.
        self._known_to_service = False
        topics, site, gateway = identity.topics, identity.site, identity.gateway
        self._readings = topics.readings(site=site, gateway=gateway)
        self._presence = topics.presence(site=site, gateway=gateway)
        self._committed = topics.committed(site=site, gateway=gateway)
        self._client = self._make_client()

    def start(self) -> None:
        """Begin to connect, and keep at it."""
        self._client.connect_async(
            self._identity.host, self._identity.port, keepalive=KEEPALIVE_S, clean_start=True
        )
        self._client.loop_start()

    def step(self, *, wait_s: float) -> None:
        """Send what is due, then deal with what happens until ``wait_s`` seconds have passed.

        Returns earlier once something has happened.
        """
        self._send_due()
        try:
            self._happened.get(timeout=wait_s)()
            while True:
                self._happened.get_nowait()()
        except queue.Empty:
            pass

    def stop(self) -> None:
        """Say that the gateway leaves, and disconnect."""
        if self._connected:
            told = self._client.publish(
                self._presence,
                encode_presence(Presence("offline", self._clock())),
                qos=1,
                retain=True,
            )
            told.wait_for_publish(LEAVES_WITHIN_S)
        self._client.disconnect()
        self._client.loop_stop()

    def _send_due(self) -> None:
        if not self._connected:
            return
        now = time.monotonic()
        window = WINDOW if self._known_to_service else 1
        for number in list(self._spool.packs)[:window]:
            if now >= self._due_at.get(number, now):
                sent = self._client.publish(self._readings, self._spool.packs[number], qos=1)
                self._number_of[sent.mid] = number
                self._due_at[number] = now + SEND_AGAIN_S

    def _make_client(self) -> Client:
        identity = self._identity
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"gateway-{identity.site}-{identity.gateway}",
            protocol=MQTTv5,
            reconnect_on_failure=True,
        )
        client.reconnect_delay_set(1, SLOWEST_RECONNECT_S)
        if identity.username is not None:
            client.username_pw_set(identity.username, identity.password)
        will = encode_presence(Presence("offline"))
        client.will_set(self._presence, will, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        return client

    def _on_connect(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401 - paho's own signature
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._happened.put(lambda: self._begin(reason))

    def _on_connect_fail(self, _client: Client, _data: Any) -> None:  # noqa: ANN401
        self._happened.put(lambda: _log.warning("The broker cannot be reached"))

    def _on_disconnect(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._happened.put(lambda: self._lost(reason))

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:  # noqa: ANN401
        payload = bytes(message.payload)
        self._happened.put(lambda: self._confirmed(payload))

    def _on_publish(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        mid: int,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._happened.put(lambda: self._passed_on(mid, reason))

    def _begin(self, reason: ReasonCode) -> None:
        if reason.is_failure:
            _log.error("The broker refused us: %s", reason)
            return
        _log.info("Connected, with %d packs to send", len(self._spool.packs))
        self._client.subscribe(self._committed, options=SubscribeOptions(qos=1))
        online = encode_presence(Presence("online", self._clock()))
        self._client.publish(self._presence, online, qos=1, retain=True)
        self._due_at.clear()  # whatever was under way may be lost
        self._number_of.clear()
        self._connected = True

    def _lost(self, reason: ReasonCode) -> None:
        self._connected = False
        if reason.is_failure:
            _log.warning("The connection to the broker was lost: %s", reason)

    def _passed_on(self, mid: int, reason: ReasonCode) -> None:
        number = self._number_of.pop(mid, None)
        # Refused, or acknowledged and thrown away: MQTT 5 has the broker say that nobody wanted it.
        unheard = reason.is_failure or reason == "No matching subscribers"
        if number in self._due_at and unheard:
            self._due_at[number] = time.monotonic() + UNHEARD_AGAIN_S

    def _confirmed(self, payload: bytes) -> None:
        try:
            told = decode_committed(payload)
        except WireError as error:
            _log.warning("What came as a confirmation %s", error.problem)
            return
        if told.spool != self._spool.file:
            return  # of a spool file before this one
        self._known_to_service = True
        for number in self._spool.confirm(told.upto):
            self._due_at.pop(number, None)
