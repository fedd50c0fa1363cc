"""Publishes each alarm as a retained message, for displays and other programs at the broker.

``<root>/<site>/alarms/<id>``: JSON, QoS 1. While an alarm is open its newest state is retained;
when it is back to normal that is published once more, and the retained message is taken away.
"""

import json
import logging
import ssl
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from drumkeep_wire.topics import Topics

_LOG: Final = logging.getLogger(__name__)
_KEEPALIVE_S: Final = 60
_CONFIRMED_WITHIN_S: Final = 10.0
CLIENT_ID: Final = "drumkeep-alarms"


@dataclass(frozen=True)
class AlarmNotice:
    """One alarm as it is published; ``over`` when it is back to normal."""

    site: str
    alarm_id: str
    body: dict[str, Any] = field(default_factory=dict)
    over: bool = False


class AlarmTopics:
    """Owns one connection that only publishes.

    Parameters
    ----------
    host, port, username, password
        The broker.
    root
        What all topics begin with.
    tls
        Whose word on the broker's certificate is taken; None: without TLS.
    """

    def __init__(
        self,
        *,
        host: str,
        port: int,
        root: str,
        username: str | None = None,
        password: str | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self._host, self._port = host, port
        self._topics = Topics(root)
        self._username, self._password, self._tls = username, password, tls
        self._connected = threading.Event()
        self._older = False
        self._client = self._make_client(mqtt.MQTTv5)

    def start(self) -> None:
        """Begin to connect; returns at once, whether or not the broker can be reached."""
        self._client.connect_async(self._host, self._port, keepalive=_KEEPALIVE_S)
        self._client.loop_start()

    def stop(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def connected(self) -> bool:
        """Whether the broker has answered."""
        return self._connected.is_set()

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for."""
        return {"drumkeep_alarm_topics_connected": lambda: float(self.connected)}

    def publish(self, notices: Sequence[AlarmNotice]) -> list[str]:
        """Publish alarms and wait for the broker.

        Returns
        -------
        list of str
            Ids of the alarms that the broker has confirmed; the others are to be tried again.
        """
        if self._older and not self.connected:
            self._older = False
            self.stop()
            self._client = self._make_client(mqtt.MQTTv311)
            self.start()
        if not self.connected:
            return []
        sent = []
        for notice in notices:
            topic = self._topics.alarm(site=notice.site, alarm_id=notice.alarm_id)
            payload = json.dumps(notice.body, ensure_ascii=False)
            info = self._client.publish(topic, payload, qos=1, retain=not notice.over)
            if notice.over:  # an empty retained message takes the last one away
                info = self._client.publish(topic, b"", qos=1, retain=True)
            sent.append((notice.alarm_id, info))
        confirmed = []
        for alarm_id, info in sent:
            try:
                info.wait_for_publish(timeout=_CONFIRMED_WITHIN_S)
            except (ValueError, RuntimeError) as error:
                _LOG.warning("alarm %s was not published: %s", alarm_id, error)
                continue
            if info.is_published():
                confirmed.append(alarm_id)
        return confirmed

    def _make_client(self, protocol: MQTTProtocolVersion) -> mqtt.Client:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=CLIENT_ID, protocol=protocol)
        if self._username is not None:
            client.username_pw_set(self._username, self._password)
        if self._tls is not None:
            client.tls_set_context(self._tls)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        return client

    def _on_connect(self, *arguments: object) -> None:
        reason = arguments[3]
        # A broker of MQTT 3.1.1 says so; the next time that there is something to publish it is
        # spoken to in that.
        self._older = str(reason) == "Unsupported protocol version"
        if not getattr(reason, "is_failure", True):
            self._connected.set()

    def _on_disconnect(self, *_arguments: object) -> None:
        self._connected.clear()
