"""Publishes packs until the service confirms them.

An acknowledgement of the broker only moves the window: brokers lose what they acknowledged when
they are killed at the wrong moment. What counts is ``committed``, which the service publishes once
a pack is in its database.
"""

import logging
import queue
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessage,
    MQTTv5,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from drumkeep_sensors.readings_spool import ReadingsSpool
from drumkeep_sensors.tls import Tls, tls_context
from drumkeep_wire.committed import Committed, decode_committed
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
FIRST_RECONNECT_S: Final = 2
SLOWEST_RECONNECT_S: Final = 60
LEAVES_WITHIN_S: Final = 1.0
UNCONFIRMED_TOLD_S: Final = 300.0
"""How long readings go unconfirmed on a good line until somebody should look why."""

_SOONEST_S: Final = 0.5
_DOUBLINGS: Final = 10


@dataclass(frozen=True)
class Identity:
    """Who publishes, and where to.

    Attributes
    ----------
    password
        Asked for at the start and after each refusal: another one may have been given meanwhile.
    tls
        None for a plain line.
    keepalive_s
        A line on which nothing comes for twice as long counts as lost.
    """

    host: str
    port: int
    topics: Topics
    site: str
    gateway: str
    username: str | None = None
    password: Callable[[], str | None] = field(default=lambda: None, repr=False)
    tls: Tls | None = None
    keepalive_s: int = KEEPALIVE_S


@dataclass(frozen=True)
class _Told:
    """A confirmation; live when it did not wait at the broker."""

    mark: Committed
    live: bool


class Line(Client):
    """paho's client, which also tells when its thread has ended: it calls itself connected then.

    Attributes
    ----------
    ended
        Whether nothing is sent or received any more.
    """

    ended = False

    def loop_forever(
        self,
        timeout: float = 1.0,
        retry_first_connection: bool = False,  # noqa: FBT001, FBT002 - paho's own signature
    ) -> MQTTErrorCode:
        """Run as paho does, which has its thread do this and nothing else."""
        try:
            return super().loop_forever(timeout, retry_first_connection)
        finally:
            self.ended = True


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

    def __init__(
        self, *, identity: Identity, spool: ReadingsSpool, clock: Callable[[], float]
    ) -> None:
        self._identity = identity
        self._spool = spool
        self._clock = clock
        self._happened: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._due_at: dict[int, float] = {}
        self._number_of: dict[int, int] = {}
        self._connected = False
        self._failures = 0
        self._told: _Told | None = None
        self._troubles: set[str] = set()
        self._heard_at = 0.0
        # Until the service has confirmed anything of this spool file, only its oldest pack is under
        # way: the first one that the service sees is where it takes the file to begin.
        self._known_to_service = False
        topics, site, gateway = identity.topics, identity.site, identity.gateway
        self._readings = topics.readings(site=site, gateway=gateway)
        self._presence = topics.presence(site=site, gateway=gateway)
        self._committed = topics.committed(site=site, gateway=gateway)
        self._client = self._make_client()

    @property
    def connected(self) -> bool:
        """Whether the broker has accepted us."""
        return self._connected

    def start(self) -> None:
        """Begin to connect, and keep at it."""
        self._client.connect_async(
            self._identity.host,
            self._identity.port,
            keepalive=self._identity.keepalive_s,
            clean_start=True,
        )
        self._client.loop_start()

    def step(self, *, wait_s: float) -> None:
        """Send what is due, then deal with what happens until ``wait_s`` seconds have passed.

        Returns earlier once something has happened.

        Raises
        ------
        RuntimeError
            Nothing is sent any more, for a reason that nobody foresaw: a new start may help.
        """
        if self._client.ended:
            raise RuntimeError("The network thread of the MQTT client has ended.")
        self._send_due()
        self._forget_confirmed()
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
        if not self._spool.packs:
            self._heard_at = now
        elif now - self._heard_at > UNCONFIRMED_TOLD_S:
            self._complain(
                "The broker takes readings, and the service confirms none. Is it running, and does "
                f"it know gateway {self._identity.site}/{self._identity.gateway}? They wait here."
            )
        window = WINDOW if self._known_to_service else 1
        # What the broker has not acknowledged paho sends again by itself after a reconnect.
        under_way = set(self._number_of.values())
        for number in list(self._spool.packs)[:window]:
            if number not in under_way and now >= self._due_at.get(number, now):
                sent = self._client.publish(self._readings, self._spool.packs[number], qos=1)
                self._number_of[sent.mid] = number
                self._due_at[number] = now + SEND_AGAIN_S

    def _make_client(self) -> Line:
        identity = self._identity
        client = Line(
            CallbackAPIVersion.VERSION2,
            client_id=f"gateway-{identity.site}-{identity.gateway}",
            protocol=MQTTv5,
            reconnect_on_failure=True,
        )
        if identity.username is not None:
            client.username_pw_set(identity.username, identity.password())
        if identity.tls is not None:
            client.tls_set_context(tls_context(identity.tls))
        will = encode_presence(Presence("offline"))
        client.will_set(self._presence, will, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
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
        if not reason.is_failure:
            self._failures = 0
        self._happened.put(lambda: self._begin(reason))

    def _on_connect_fail(self, _client: Client, _data: Any) -> None:  # noqa: ANN401
        self._back_off()
        why = sys.exception()  # paho calls us while it handles it, and has no other way to tell
        self._happened.put(
            lambda: self._complain(
                f"The broker {self._identity.host}:{self._identity.port} cannot be reached: {why}"
            )
        )

    def _on_disconnect(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._back_off()
        self._happened.put(lambda: self._lost(reason))

    def _back_off(self) -> None:
        """Set how long paho waits before it tries again; runs in its thread, just before it does.

        Anything up to twice as long as the last time: gateways that lost one broker at one moment
        come back spread out.
        """
        longest = min(SLOWEST_RECONNECT_S, FIRST_RECONNECT_S * 2 ** min(self._failures, _DOUBLINGS))
        self._failures += 1
        # paho says int, and adds it to the time as it is.
        wait_s = random.uniform(_SOONEST_S, longest)  # noqa: S311 - spreads load, hides nothing
        self._client.reconnect_delay_set(wait_s, wait_s)  # type: ignore[arg-type]

    def _on_message(self, _client: Client, _data: Any, message: MQTTMessage) -> None:  # noqa: ANN401
        payload, live = bytes(message.payload), not message.retain
        self._happened.put(lambda: self._confirmed(payload, live=live))

    def _on_subscribe(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        if refused := [reason for reason in reasons if reason.is_failure]:
            self._happened.put(lambda: self._may_not(f"read {self._committed}", refused[0]))

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
            self._complain(f"The broker refused us: {reason}")
            if self._identity.username is not None:
                self._client.username_pw_set(self._identity.username, self._identity.password())
            return
        level = logging.WARNING if self._troubles else logging.INFO
        _log.log(level, "Connected, with %d packs to send", len(self._spool.packs))
        self._heard_at = time.monotonic()
        self._client.subscribe(self._committed, options=SubscribeOptions(qos=1))
        online = encode_presence(Presence("online", self._clock()))
        self._client.publish(self._presence, online, qos=1, retain=True)
        self._due_at.clear()  # whatever a broker had acknowledged may be lost with it
        self._connected = True

    def _lost(self, reason: ReasonCode) -> None:
        if self._connected and reason.is_failure:
            _log.warning("The connection to the broker was lost: %s", reason)
        self._connected = False

    def _passed_on(self, mid: int, reason: ReasonCode) -> None:
        number = self._number_of.pop(mid, None)
        if number is None or number not in self._spool.packs:
            return
        # Refused, or acknowledged and thrown away: MQTT 5 has the broker say that nobody wanted it.
        if reason.is_failure:
            self._may_not(f"write {self._readings}", reason)
        unheard = reason.is_failure or reason == "No matching subscribers"
        again_s = UNHEARD_AGAIN_S if unheard else SEND_AGAIN_S
        self._due_at[number] = time.monotonic() + again_s

    def _confirmed(self, payload: bytes, *, live: bool) -> None:
        try:
            told = decode_committed(payload)
        except WireError as error:
            _log.warning("What came as a confirmation %s", error.problem)
            return
        self._told = _Told(told, live=live)
        self._heard_at = time.monotonic()
        if self._troubles:
            _log.warning("The service confirms readings again")
            self._troubles.clear()
        self._forget_confirmed()

    def _may_not(self, do: str, reason: ReasonCode) -> None:
        self._complain(f"The broker does not let us {do}: {reason}. Look into its rights (ACL).")

    def _complain(self, trouble: str) -> None:
        """Tell what keeps readings from being stored, once until one is confirmed again."""
        if trouble not in self._troubles:
            self._troubles.add(trouble)
            _log.error(trouble)

    def _forget_confirmed(self) -> None:
        """Apply the last confirmation; it is kept while the spool cannot be written."""
        told = self._told
        if told is None:
            return
        file, upto = told.mark.spool, told.mark.upto
        if file == self._spool.file:  # and not of one before this
            for number in self._spool.confirm(upto, live=told.live):
                self._due_at.pop(number, None)
            self._known_to_service = file == self._spool.file
            if not self._known_to_service:  # a new file was begun, and numbers mean other packs
                self._due_at.clear()
                self._number_of.clear()
        self._told = None
