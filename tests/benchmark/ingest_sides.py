"""Who receives: the bare client, or the service's own ingest; each in a process of its own.

First it makes its session known to the broker, leaves, and says ``away``. Told ``go`` it comes
back, says ``back`` once it is connected, takes what comes, and says in JSON what that took: from
connecting until its last acknowledgement is with the broker.
"""

import argparse
import json
import resource
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from queue import SimpleQueue
from typing import Any, Final

from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions
from pydantic import SecretStr

from drumkeep.app import Role, make_engine, make_parts
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.intake import Intake
from drumkeep.ingest.subscriber import (
    KEEPALIVE_S,
    RECEIVE_MAXIMUM,
    SESSION_EXPIRY_S,
    Subscriber,
)
from drumkeep.settings import Settings
from drumkeep_wire.topics import Topics
from tests.benchmark.ingest_load import number_of

_LOOKS_EVERY_S: Final = 0.001


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("side", choices=list(SIDES))
    parser.add_argument("broker")
    parser.add_argument("expected", type=int, help="messages")
    parser.add_argument("--store", default="", help="database of the pipeline")
    told = parser.parse_args()
    result = SIDES[told.side](told.broker, told.expected, told.store)
    used = resource.getrusage(resource.RUSAGE_SELF)
    result["peak_mib"] = used.ru_maxrss / 1024
    _say(json.dumps(result))


def client(broker: str, expected: int, _store: str) -> dict[str, Any]:
    """Receive, and hand each message to another thread, which acknowledges it."""
    pending: SimpleQueue[tuple[int, int]] = SimpleQueue()

    def acknowledge(client: Client) -> None:
        for _ in range(expected):
            client.ack(*pending.get())

    return _bare(
        broker,
        take=lambda message: pending.put((message.mid, message.qos)),
        acknowledge=acknowledge,
    )


def client_in_batches(broker: str, expected: int, _store: str) -> dict[str, Any]:
    """Receive, and acknowledge from another thread what has gathered: the least it can cost."""
    pending: deque[tuple[int, int]] = deque()

    def acknowledge(client: Client) -> None:
        left = expected
        while left:
            while pending:
                client.ack(*pending.popleft())
                left -= 1
            time.sleep(_LOOKS_EVERY_S)

    return _bare(
        broker,
        take=lambda message: pending.append((message.mid, message.qos)),
        acknowledge=acknowledge,
    )


def _bare(
    broker: str,
    *,
    take: Callable[[MQTTMessage], None],
    acknowledge: Callable[[Client], None],
) -> dict[str, Any]:
    host, _, port = broker.removeprefix("mqtt://").partition(":")
    subscribed = threading.Event()

    def connect() -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2, client_id="bare", protocol=MQTTv5, manual_ack=True
        )
        client.on_connect = lambda client, *_: client.subscribe(
            Topics().every("readings"), options=SubscribeOptions(qos=1, retainHandling=1)
        )
        client.on_subscribe = lambda *_: subscribed.set()
        client.on_message = lambda _client, _data, message: take(message)
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = SESSION_EXPIRY_S
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        client.connect_async(host, int(port), KEEPALIVE_S, clean_start=False, properties=properties)
        client.loop_start()
        return client

    client = connect()
    subscribed.wait()
    _leave(client)
    _away()
    begun, cpu = time.monotonic(), time.process_time()
    client = connect()
    _say("back")
    acknowledge(client)
    _until_written(client)
    seconds, cpu_s = time.monotonic() - begun, time.process_time() - cpu
    _leave(client)
    return {"seconds": seconds, "cpu_s": cpu_s}


def pipeline(broker: str, expected: int, store: str) -> dict[str, Any]:
    """Receive, store, acknowledge and confirm, as the service does."""
    acknowledged: list[tuple[float, list[Arrived]]] = []
    real = Subscriber.acknowledge
    done = threading.Event()
    left = expected
    client: Client | None = None

    def acknowledge(self: Subscriber, messages: Iterable[Arrived]) -> None:
        nonlocal left, client
        some = list(messages)
        acknowledged.append((time.monotonic(), some))
        real(self, some)
        left -= len(some)
        if left <= 0:
            client = self._client
            done.set()

    Subscriber.acknowledge = acknowledge  # type: ignore[method-assign]
    settings = Settings(database_url=SecretStr(store), mqtt_url=SecretStr(broker))
    engine = make_engine(settings)

    def start() -> Intake:
        (part,) = make_parts(settings, engine, roles=frozenset({Role.INGEST}))
        assert isinstance(part, Intake)
        part.start()
        return part

    part = start()
    while not part.health().connected:
        time.sleep(_LOOKS_EVERY_S)
    part.stop()
    _away()
    begun, cpu = time.monotonic(), time.process_time()
    part = start()
    while not part.health().connected:
        time.sleep(_LOOKS_EVERY_S)
    _say("back")
    done.wait()
    assert client is not None
    _until_written(client)
    seconds, cpu_s = time.monotonic() - begun, time.process_time() - cpu
    part.stop()
    engine.dispose()
    committed = [0.0] * expected
    for at, some in acknowledged:
        for message in some:
            committed[number_of(message.topic, message.payload)] = at
    return {
        "seconds": seconds,
        "cpu_s": cpu_s,
        "batches": len(acknowledged),
        "committed": committed,
    }


SIDES: Final = {"client": client, "client, in batches": client_in_batches, "pipeline": pipeline}


def _say(word: str) -> None:
    sys.stdout.write(f"{word}\n")
    sys.stdout.flush()


def _away() -> None:
    _say("away")
    assert sys.stdin.readline() == "go\n"


def _leave(client: Client) -> None:
    client.disconnect()
    client.loop_stop()


def _until_written(client: Client) -> None:
    while client.want_write():
        time.sleep(_LOOKS_EVERY_S)


if __name__ == "__main__":
    main()
