"""The bare client: receives and acknowledges, and nothing else; in a process of its own.

First it makes its session known to the broker, leaves, and says ``away``. Told ``go`` it comes
back, says ``back``, takes what comes, and says in JSON what that took: from the broker's answer
until the last acknowledgement is with it. :mod:`tests.benchmark.ingest_pipeline` does the same.
"""

import argparse
import json
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any, Final

from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

LOOKS_EVERY_S: Final = 0.001
FILTER: Final = "drumkeep/v1/+/+/readings"
# As the service has them; not taken from it, as importing it takes seconds.
_KEEPALIVE_S: Final = 60
_SESSION_EXPIRY_S: Final = 14 * 86_400
_RECEIVE_MAXIMUM: Final = 1000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("way", choices=list(WAYS))
    parser.add_argument("broker")
    parser.add_argument("expected", type=int, help="messages")
    told = parser.parse_args()
    say(json.dumps(WAYS[told.way](told.broker, told.expected)))


def hand_over(broker: str, expected: int) -> dict[str, Any]:
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


def in_batches(broker: str, expected: int) -> dict[str, Any]:
    """Receive, and acknowledge from another thread what has gathered: the least it can cost."""
    pending: deque[tuple[int, int]] = deque()

    def acknowledge(client: Client) -> None:
        left = expected
        while left:
            while pending:
                client.ack(*pending.popleft())
                left -= 1
            time.sleep(LOOKS_EVERY_S)

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
    begun = cpu = 0.0

    def on_connect(client: Client, *_: object) -> None:
        nonlocal begun, cpu
        begun, cpu = time.monotonic(), time.process_time()
        client.subscribe(FILTER, options=SubscribeOptions(qos=1, retainHandling=1))

    def connect() -> Client:
        client = Client(
            CallbackAPIVersion.VERSION2, client_id="bare", protocol=MQTTv5, manual_ack=True
        )
        client.on_connect = on_connect
        client.on_subscribe = lambda *_: subscribed.set()
        client.on_message = lambda _client, _data, message: take(message)
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = _SESSION_EXPIRY_S
        properties.ReceiveMaximum = _RECEIVE_MAXIMUM
        client.connect_async(
            host, int(port), _KEEPALIVE_S, clean_start=False, properties=properties
        )
        client.loop_start()
        return client

    client = connect()
    subscribed.wait()
    _leave(client)
    away()
    client = connect()
    say("back")
    acknowledge(client)
    until_written(client)
    seconds, cpu_s = time.monotonic() - begun, time.process_time() - cpu
    _leave(client)
    return {"seconds": seconds, "cpu_s": cpu_s}


WAYS: Final = {"hand over": hand_over, "in batches": in_batches}


def say(word: str) -> None:
    """Tell whoever started this process."""
    sys.stdout.write(f"{word}\n")
    sys.stdout.flush()


def away() -> None:
    """Say that the session is known and we are away, and wait to be told to come back."""
    say("away")
    assert sys.stdin.readline() == "go\n"


def until_written(client: Client) -> None:
    """Wait until all that is to be sent is sent."""
    while client.want_write():
        time.sleep(LOOKS_EVERY_S)


def _leave(client: Client) -> None:
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    main()
