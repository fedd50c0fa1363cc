"""What the tests of ingest share: the process, and a publisher that is no part of drumkeep."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from queue import Queue

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from drumkeep.ingest.address import CLIENT_ID, Broker
from drumkeep.ingest.backlog import Backlog
from drumkeep.ingest.reader import Read
from drumkeep.ingest.session import Session
from tests.fixtures.broker import Mosquitto
from tests.fixtures.line import Door
from tests.fixtures.process import PATIENCE_S, wait_until
from tests.fixtures.shed import Shed

__all__ = [
    "IngestProcess",
    "count",
    "execute",
    "ingest",
    "is_kept",
    "publish",
    "publisher",
    "wait_for_session",
    "wait_until",
]


class IngestProcess:
    """A process that ingests until it is stopped or killed."""

    def __init__(self, shed: Shed, broker: Door) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "drumkeep", "serve", "--only", "ingest"],
            env={
                **os.environ,
                "DRUMKEEP_DATABASE_URL": shed.url,
                "DRUMKEEP_DATA_DIR": str(Path(shed.url.removeprefix("sqlite:///")).parent),
                "DRUMKEEP_MQTT_URL": f"mqtt://{broker.host}:{broker.port}",
            },
            stderr=subprocess.PIPE,
            text=True,
        )

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        self._process.kill()
        self._process.communicate()

    def stop(self) -> str:
        """Stop it as an operator would, and return what it had to say."""
        self._process.send_signal(signal.SIGTERM)
        _, told = self._process.communicate(timeout=PATIENCE_S)
        assert self._process.returncode == 0, told
        return told

    def end(self) -> int:
        """Wait until it ends by itself, and return its exit status."""
        self._process.communicate(timeout=PATIENCE_S)
        return self._process.returncode

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self._process.poll() is None


@contextmanager
def ingest(shed: Shed, broker: Door) -> Iterator[IngestProcess]:
    """Run ingest until the end of the block."""
    process = IngestProcess(shed, broker)
    try:
        yield process
    finally:
        if process.alive:
            process.kill()


@contextmanager
def session(shed: Shed, broker: Door, *, queue: Backlog[Read] | None = None) -> Iterator[Session]:
    """Run one session in this process until the end of the block, if asked with this queue."""
    running = Session(
        engine=shed.engine,
        broker=Broker(host=broker.host, port=broker.port, client_id=CLIENT_ID),
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - the edge
        slot=0,
        slots=1,
        may_connect=lambda: True,
        backlog=queue,
    )
    running.start()
    try:
        yield running
    finally:
        running.stop()


@contextmanager
def publisher(broker: Mosquitto) -> Iterator[Client]:
    """Give a connected client; its messages are with the broker at the end of the block."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    client.max_inflight_messages_set(100)
    client.connect(broker.host, broker.port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def publish(client: Client, topic: str, pack: object) -> None:
    """Publish a pack with QoS 1 and wait until the broker has it."""
    payload = pack if isinstance(pack, bytes) else json.dumps(pack).encode()
    client.publish(topic, payload, qos=1).wait_for_publish(PATIENCE_S)


def count(shed: Shed, table: str) -> int:
    """Count the rows of a table, without drumkeep."""
    with closing(sqlite3.connect(shed.url.removeprefix("sqlite:///"))) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608


def wait_for_session(broker: Mosquitto, *, times: int = 1) -> None:
    """Wait until the broker keeps messages for ingest, whether it is there or not."""
    said = "Sending SUBACK to drumkeep-ingest"
    wait_until(lambda: broker.log().count(said) >= times, "ingest subscribes")


def is_kept(broker: Mosquitto, client_id: str) -> bool:
    """Whether the broker still keeps a session of this name."""
    answer: Queue[bool] = Queue()
    client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTv5)
    client.on_connect = lambda _client, _data, flags, _reason, _properties: answer.put(
        flags.session_present
    )
    client.connect(broker.host, broker.port, clean_start=False)
    client.loop_start()
    try:
        return answer.get(timeout=30)
    finally:
        client.disconnect()
        client.loop_stop()


def execute(shed: Shed, sql: str) -> None:
    """Change the database, without drumkeep."""
    with closing(sqlite3.connect(shed.url.removeprefix("sqlite:///"))) as connection:
        connection.executescript(sql)
