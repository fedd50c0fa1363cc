"""The MQTT client of the service: subscribes, hands on, acknowledges when told, publishes.

paho runs the callbacks in the thread that runs its loop, and an exception in one ends that thread
while the client goes on calling itself connected. So callbacks never raise.
"""

import logging
import random
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from paho.mqtt.client import (
    Client,
    ConnectFlags,
    DisconnectFlags,
    MQTTMessageInfo,
    MQTTv5,
    MQTTv311,
)
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from drumkeep.domain.readings import PREFIX_LENGTH
from drumkeep.ingest.address import Broker
from drumkeep.ingest.backlog import LONGEST_PAYLOAD, Arrived
from drumkeep.ingest.inflow import Published, ReceivingClient

_log = logging.getLogger(__name__)

KEEPALIVE_S: Final = 60
SESSION_EXPIRY_S: Final = 14 * 86_400
"""How long the broker keeps our session, and what it queued for us, while we are away."""
RECEIVE_MAXIMUM: Final = 1000
FIRST_RECONNECT_S: Final = 1.0
SLOWEST_RECONNECT_S: Final = 30.0
MAY_I_EVERY_S: Final = 0.1
LOOP_S: Final = 1.0
TOLD_WITHIN_S: Final = 1.0
FORGOTTEN_WITHIN_S: Final = 5.0
HANG_UPS: Final = 3
"""After so many without an answer in between the other protocol is tried."""

_OTHER_PROTOCOL: Final = "Unsupported protocol version"

_OPTIONS: Final = SubscribeOptions(qos=1, retainHandling=1)
# 1: retained messages come when the subscription is new, and not at each reconnect.

Clock = Callable[[], datetime]


class Subscriber:
    """Owns the connection to the broker.

    Parameters
    ----------
    broker
        Where it is.
    deliver
        Gets what arrives, in its order; may take its time, which holds the broker back.
    clock
        Gives the moment at which a message arrives, UTC.
    filters
        What to subscribe to in every connection; :meth:`subscribe` adds to it.
    may_connect
        Asked before each connection. Two clients of one name would end each other's for ever.
    """

    def __init__(
        self,
        *,
        broker: Broker,
        deliver: Callable[[Sequence[Arrived]], None],
        clock: Clock,
        filters: Sequence[str],
        may_connect: Callable[[], bool],
    ) -> None:
        self._broker = broker
        self._deliver = deliver
        self._clock = clock
        self._filters = list(filters)
        self._may_connect = may_connect
        # A message's mid has a meaning within one connection only. A late acknowledgement in the
        # next could confirm another message, one that is not stored; so each connection has a
        # number, and what belongs to an older one is dropped: the broker brings it again.
        self._epoch = 0
        self._epoch_lock = threading.Lock()
        self._subscribed = False
        self._subscribing: int | None = None
        self._answers: dict[int, bool] = {}
        self._protocol = MQTTv5
        self._change_protocol = False
        self._unanswered = 0
        self.last_message_at: datetime | None = None
        self.trouble: str | None = "The broker has not been reached yet."
        self._client = self._make_client()
        self._published: MQTTMessageInfo | None = None
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ingest-network", daemon=True)

    def start(self) -> None:
        """Begin to connect, and keep at it, in a thread of its own."""
        self._thread.start()

    def stop(self) -> None:
        """Disconnect; the broker keeps the session and what is not acknowledged."""
        if self._published is not None and self._client.is_connected():
            # What is published last may still wait for its turn, and would be dropped with it.
            self._published.wait_for_publish(TOLD_WITHIN_S)
        self._ending.set()
        self._client.disconnect()
        if self._thread.is_alive():
            self._thread.join()

    def forget(self) -> bool:
        """Have the broker end the session, once stopped; whether it has confirmed it.

        A session ends by a connection that begins anew and keeps nothing. Told with the last
        DISCONNECT the broker may not hear it: it is not answered, and closing a socket that has
        something unread resets the connection.
        """
        confirmed: list[bool] = []
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._broker.client_id,
            clean_session=True if self._protocol == MQTTv311 else None,
            protocol=self._protocol,
            reconnect_on_failure=False,
        )
        self._broker.introduce(client)
        client.on_connect = lambda _client, _data, _flags, reason, _properties: confirmed.append(
            not reason.is_failure
        )
        deadline = time.monotonic() + FORGOTTEN_WITHIN_S
        try:
            client.connect(self._broker.host, self._broker.port, KEEPALIVE_S)
        except OSError:
            return False
        while not confirmed and time.monotonic() < deadline:
            if client.loop(MAY_I_EVERY_S) != MQTTErrorCode.MQTT_ERR_SUCCESS:
                break
        client.disconnect()
        return confirmed == [True]

    @property
    def client_id(self) -> str:
        """Name of our session at the broker."""
        return self._broker.client_id

    @property
    def epoch(self) -> int:
        """Number of the connection; another one before and after it."""
        return self._epoch

    @property
    def connected(self) -> bool:
        """Whether the broker has accepted our subscriptions in this connection."""
        return self._subscribed and self._client.is_connected()

    @property
    def alive(self) -> bool:
        """Whether the network thread runs."""
        # is_connected() stays True when it has died.
        return self._thread.is_alive()

    def acknowledge(self, messages: Iterable[Arrived]) -> None:
        """Acknowledge messages, in the order in which they came (MQTT 5.0, 4.6)."""
        with self._epoch_lock:
            mids = [one.mid for one in messages if one.qos and one.epoch == self._epoch]
            if not mids:
                return
            self._client.acknowledge(mids)

    def publish_retained(self, topic: str, payload: bytes) -> bool:
        """Publish for whoever listens now or later; False when there is no connection."""
        if not self._client.is_connected():
            return False
        sent = self._client.publish(topic, payload, qos=1, retain=True)
        if sent.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            return False
        self._published = sent
        return True

    def publish(self, topic: str, payload: bytes, *, qos: int = 1) -> bool:
        """Publish for whoever listens now; False when there is no connection."""
        if not self._client.is_connected():
            return False
        return self._client.publish(topic, payload, qos=qos).rc == MQTTErrorCode.MQTT_ERR_SUCCESS

    def subscribe(self, filters: Sequence[str]) -> int | None:
        """Subscribe in this connection; return by what to ask for the :meth:`outcome`."""
        return self._subscribe(self._client, filters)

    def unsubscribe(self, filters: Sequence[str]) -> int | None:
        """Give subscriptions up; return by what to ask for the :meth:`outcome`."""
        return self._client.unsubscribe(list(filters))[1]

    def outcome(self, request: int) -> bool | None:
        """Return whether the broker has granted all of a request of this connection.

        None while it has not answered.
        """
        return self._answers.get(request)

    def _make_client(self) -> ReceivingClient:
        client = ReceivingClient(
            CallbackAPIVersion.VERSION2,
            properties=self._protocol == MQTTv5,
            deliver=self._take,
            client_id=self._broker.client_id,
            # 5.0 says it when it connects.
            clean_session=False if self._protocol == MQTTv311 else None,
            protocol=self._protocol,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        self._broker.introduce(client)
        # Before connecting: what the broker kept for us comes right after its answer.
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_unsubscribe = self._on_unsubscribe
        # With it, whoever publishes or acknowledges leaves the writing to the thread of the loop.
        client.on_socket_register_write = _leave_it
        # Of what we publish: one for each gateway that is told something.
        client.max_inflight_messages_set(RECEIVE_MAXIMUM)
        return client

    def _run(self) -> None:
        pause = FIRST_RECONNECT_S
        while not self._ending.is_set():
            if not self._may_connect():
                self._ending.wait(MAY_I_EVERY_S)
                continue
            before = self._epoch
            self._converse()
            pause = FIRST_RECONNECT_S if self._epoch > before else pause
            # Not all at once, when a broker comes back on which many wait.
            self._ending.wait(random.uniform(0.5, 1.0) * pause)  # noqa: S311
            pause = min(2 * pause, SLOWEST_RECONNECT_S)

    def _converse(self) -> None:
        """Have one connection, from its beginning to its end."""
        self._settle_protocol()
        host, port = self._broker.host, self._broker.port
        try:
            if self._protocol == MQTTv5:
                properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
                properties.SessionExpiryInterval = SESSION_EXPIRY_S
                properties.ReceiveMaximum = RECEIVE_MAXIMUM
                # Not a clean start, ever: the client's own default wipes the queue when a process
                # starts.
                self._client.connect(
                    host, port, KEEPALIVE_S, clean_start=False, properties=properties
                )
            else:
                self._client.connect(host, port, KEEPALIVE_S)
        except OSError:
            self.trouble = "The broker cannot be reached."
            return
        if self._ending.is_set():
            self._client.disconnect()
        # Unlike the client's own ways to go on for ever this wakes when there is something to send.
        while self._client.loop(LOOP_S) == MQTTErrorCode.MQTT_ERR_SUCCESS:
            pass

    def _settle_protocol(self) -> None:
        """Go on with MQTT 3.1.1 if the broker does not speak 5.0, or the other way round.

        A broker of 3.1.1 either says so or hangs up.
        """
        if not self._change_protocol:
            return
        self._protocol = MQTTv311 if self._protocol == MQTTv5 else MQTTv5
        self._change_protocol, self._unanswered = False, 0
        _log.warning("Trying MQTT %s", "5.0" if self._protocol == MQTTv5 else "3.1.1")
        self._client = self._make_client()

    def _subscribe(self, client: Client, topics: Sequence[str]) -> int | None:
        if self._protocol == MQTTv5:
            return client.subscribe([(topic, _OPTIONS) for topic in topics])[1]
        return client.subscribe([(topic, 1) for topic in topics])[1]

    def _next_epoch(self) -> None:
        with self._epoch_lock:
            self._epoch += 1

    def _on_connect(
        self,
        client: Client,
        _data: Any,  # noqa: ANN401 - paho's own signature
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._next_epoch()
        self._unanswered = 0
        if reason.is_failure:
            if reason == _OTHER_PROTOCOL:
                self._change_protocol = True
            self.trouble = f"The broker refused us: {reason}."
            _log.error("The broker refused us: %s", reason)
            return
        self._answers.clear()
        if self._filters:
            self._subscribing = self._subscribe(client, self._filters)
        else:
            self.trouble, self._subscribed = None, True
        kept = "kept" if flags.session_present else "new"
        _log.info("Connected to the broker with a %s session", kept)

    def _on_disconnect(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._next_epoch()
        self._unanswered += not self._subscribed
        self._change_protocol |= self._unanswered >= HANG_UPS
        self._subscribed = False
        if reason.is_failure:
            self.trouble = f"The connection to the broker was lost: {reason}."
            _log.warning("The connection to the broker was lost: %s", reason)

    def _on_subscribe(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        self._answers[mid] = not refused
        if refused:
            if mid == self._subscribing:
                self.trouble = f"The broker refused our subscriptions: {', '.join(refused)}."
            _log.error("The broker refused our subscriptions: %s", ", ".join(refused))
        elif mid == self._subscribing:
            self.trouble = None
            self._subscribed = True

    def _on_unsubscribe(
        self,
        _client: Client,
        _data: Any,  # noqa: ANN401
        mid: int,
        _reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._answers[mid] = True

    def _take(self, messages: Sequence[Published]) -> None:
        try:
            now, epoch = self._clock(), self._epoch
            self.last_message_at = now
            self._deliver(
                [
                    Arrived(
                        topic=one.topic,
                        payload=one.payload
                        if len(one.payload) <= LONGEST_PAYLOAD
                        else one.payload[:PREFIX_LENGTH],
                        size=len(one.payload),
                        retained=one.retained,
                        received_at=now,
                        mid=one.mid,
                        qos=one.qos,
                        epoch=epoch,
                    )
                    for one in messages
                ]
            )
        except Exception:  # noqa: BLE001 - whatever it is
            # Raised further it would end the network thread, and nobody would notice.
            _log.exception("Messages could not be taken in")


def _leave_it(_client: Client, _data: Any, _socket: Any) -> None:  # noqa: ANN401
    """Do nothing: the loop finds what waits to be written by itself."""
