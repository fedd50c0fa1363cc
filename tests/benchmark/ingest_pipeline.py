"""The service's own ingest receives, in a process of its own; see the bare client."""

import argparse
import json
import resource
import threading
import time
from collections.abc import Iterable
from typing import Any

from pydantic import SecretStr

from drumkeep.app import Role, make_engine, make_parts
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.intake import Intake
from drumkeep.ingest.subscriber import Subscriber
from drumkeep.settings import Settings
from tests.benchmark.ingest_client import LOOKS_EVERY_S, away, say, until_written
from tests.benchmark.ingest_disk import hold_up
from tests.benchmark.ingest_load import number_of


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("broker")
    parser.add_argument("expected", type=int, help="messages")
    parser.add_argument("store", help="address of the database")
    parser.add_argument("flush_ms", type=float, help="by which every commit is held up")
    told = parser.parse_args()
    result = pipeline(told.broker, told.expected, told.store, flush_ms=told.flush_ms)
    result["peak_mib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(json.dumps(result))


def pipeline(broker: str, expected: int, store: str, *, flush_ms: float) -> dict[str, Any]:
    """Receive, store, acknowledge and confirm, as the service does."""
    acknowledged: list[tuple[float, list[Arrived]]] = []
    real, answered = Subscriber.acknowledge, Subscriber._on_connect
    begun = cpu = 0.0
    done = threading.Event()
    left = expected
    clients = []

    def acknowledge(self: Subscriber, messages: Iterable[Arrived]) -> None:
        nonlocal left
        some = list(messages)
        acknowledged.append((time.monotonic(), some))
        real(self, some)
        left -= len(some)
        if left <= 0:
            clients.append(self._client)
            done.set()

    def on_connect(self: Subscriber, *arguments: Any) -> None:
        nonlocal begun, cpu
        begun, cpu = time.monotonic(), time.process_time()
        answered(self, *arguments)

    Subscriber.acknowledge = acknowledge  # type: ignore[method-assign]
    Subscriber._on_connect = on_connect  # type: ignore[assignment, method-assign]
    settings = Settings(database_url=SecretStr(store), mqtt_url=SecretStr(broker))
    engine = make_engine(settings)
    hold_up(engine, flush_ms=flush_ms)

    def start() -> Intake:
        (part,) = make_parts(settings, engine, roles=frozenset({Role.INGEST}))
        assert isinstance(part, Intake)
        part.start()
        return part

    part = start()
    while not part.health().connected:
        time.sleep(LOOKS_EVERY_S)
    part.stop()
    away()
    part = start()
    while not part.health().connected:
        time.sleep(LOOKS_EVERY_S)
    say("back")
    done.wait()
    until_written(clients[0])
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


if __name__ == "__main__":
    main()
