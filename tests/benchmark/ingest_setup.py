"""A broker, and stores with a company in them, for the benchmarks of ingest; and who receives."""

import json
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from drumkeep.storage.engine import create
from drumkeep.storage.transaction import reading
from drumkeep_wire.committed import Committed, decode_committed
from drumkeep_wire.topics import Topics
from tests.benchmark.ingest_disk import below
from tests.benchmark.ingest_load import GATEWAYS, SPOOL, Message, Publisher, furnish
from tests.fixtures.broker import Mosquitto, running_mosquitto
from tests.fixtures.postgres import running_postgres
from tests.fixtures.stores import Store

STORES: Final = ("sqlite", "postgresql")
CLIENTS: Final = {"client": "hand over", "client, in batches": "in batches"}
"""The bare client, acknowledging each message as it is handed over, or what has gathered."""
_TOLD_WITHIN_S: Final = 10.0


class Receiver:
    """A process of its own that receives: :mod:`tests.benchmark.ingest_client` or the pipeline.

    Parameters
    ----------
    url
        The pipeline's database.
    flush_ms
        By how much its commits are held up.
    """

    def __init__(
        self, side: str, broker: Mosquitto, *, expected: int, url: str = "", flush_ms: float = 0.0
    ) -> None:
        where = f"mqtt://{broker.host}:{broker.port}", str(expected)
        run = (
            ("tests.benchmark.ingest_client", CLIENTS[side], *where)
            if side in CLIENTS
            else ("tests.benchmark.ingest_pipeline", *where, url, str(flush_ms))
        )
        self._process = subprocess.Popen(
            [sys.executable, "-m", *run],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._hear("away")

    def go(self) -> None:
        """Have it come back, and return when it is connected."""
        assert self._process.stdin is not None
        self._process.stdin.write("go\n")
        self._process.stdin.flush()
        self._hear("back")

    def result(self) -> dict[str, Any]:
        """Wait until it has received all, and return what that took."""
        assert self._process.stdout is not None
        told = self._process.stdout.readline()
        assert self._process.wait() == 0
        result: dict[str, Any] = json.loads(told)
        return result

    def end(self) -> None:
        """End it, if it has not ended."""
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()

    def _hear(self, word: str) -> None:
        assert self._process.stdout is not None
        told = self._process.stdout.readline()
        assert told == f"{word}\n", told


@dataclass(frozen=True)
class Bench:
    """A broker and stores, with the company in a mould of each.

    Attributes
    ----------
    moulds
        By the name of the store.
    """

    folder: Path
    broker: Mosquitto
    stores: dict[str, Store]
    moulds: dict[str, str]

    @contextmanager
    def database(self, store: str) -> Iterator[str]:
        """Give the address of a database of one's own with the company in it."""
        with self.stores[store].database(self.folder, mould=self.moulds[store]) as url:
            yield url
            for file in self.folder.glob("drumkeep.db*"):
                file.unlink()

    def disks(self) -> dict[str, dict[str, Any]]:
        """Return what each store lies on."""
        found = {}
        for name, store in self.stores.items():
            folder = self.folder if store.postgres is None else store.postgres.folder
            with self.database(name) as url:
                found[name] = below(url, folder=folder)
        return found

    def drain(self, side: str, messages: Sequence[Message], *, readings: int) -> dict[str, Any]:
        """Have a backlog received by a client or the pipeline on a store; return what that took.

        What the pipeline says is checked at both ends: the rows, and what gateways were told.
        """
        self.broker.kill()
        self.broker.start()
        if side in CLIENTS:
            return self._drain(side, messages, url="")
        with self.database(side) as url:
            result = self._drain("pipeline", messages, url=url)
            _check(url, self.broker, messages=len(messages), readings=readings)
        return result

    def _drain(self, side: str, messages: Sequence[Message], *, url: str) -> dict[str, Any]:
        receiver = Receiver(side, self.broker, expected=len(messages), url=url)
        try:
            publisher = Publisher(self.broker.host, self.broker.port)
            publisher.publish(messages)
            publisher.close()
            receiver.go()
            return receiver.result()
        finally:
            receiver.end()


@contextmanager
def bench(folder: Path, *, stores: Sequence[str] = STORES) -> Iterator[Bench]:
    """Give a broker and stores that are gone at the end of the block."""
    with ExitStack() as ends:
        broker = ends.enter_context(
            running_mosquitto(folder / "broker", persistent=False, quiet=True)
        )
        made, moulds = {}, {}
        for name in stores:
            cluster = None
            if name == "postgresql":
                cluster = ends.enter_context(running_postgres(durable=True))
            moulded = folder / f"moulds-{name}"
            moulded.mkdir()
            made[name] = Store(moulded, cluster)
            ends.callback(made[name].close)
            moulds[name] = made[name].mould(furnish, name="company")
        yield Bench(folder, broker, made, moulds)


def _check(url: str, broker: Mosquitto, *, messages: int, readings: int) -> None:
    """Compare what is stored, and what each gateway was told, with what was sent."""
    engine = create(url)
    with reading(engine) as tx:
        connection = tx.session.connection()
        found = {
            table: connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar()  # noqa: S608
            for table in ("reading", "reject", "stray")
        }
    engine.dispose()
    assert found == {"reading": readings, "reject": 0, "stray": 0}, found
    sent = Counter(number % GATEWAYS for number in range(messages))
    expected = {f"g{gateway}": Committed(SPOOL, count) for gateway, count in sent.items()}
    told = _told(broker, gateways=len(expected))
    assert told == expected, told


def _told(broker: Mosquitto, *, gateways: int) -> dict[str, Committed]:
    """Return what is retained as committed, by gateway."""
    told: dict[str, Committed] = {}

    def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
        told[message.topic.split("/")[-2]] = decode_committed(bytes(message.payload))

    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = on_message
    client.connect(broker.host, broker.port)
    client.subscribe(Topics().every("committed"))
    deadline = time.monotonic() + _TOLD_WITHIN_S
    while len(told) < gateways and time.monotonic() < deadline:
        client.loop(0.1)
    client.disconnect()
    return told
