"""Whether the service's memory stays flat for as long as readings come: its size each minute.

The whole service in one process (pages, ingest, jobs) on SQLite, with drums that are computed as
readings come. Each sensor speaks once a minute, as it is registered, and those that hang in places
have a day behind them: the span that the jobs look at holds as much at the end as at the beginning.
Beside what is stored come unknown sensors, packs that cannot be read, and second
values: what is kept of those is bounded, and so must be what is remembered of them.
"""

import random
import subprocess
import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import httpx
import numpy as np

from drumkeep.domain.grid import to_ms
from drumkeep.storage import alarm_sources, readings
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction
from tests.benchmark.company import build
from tests.benchmark.ingest_latency import environment
from tests.benchmark.ingest_load import (
    EVERY_S,
    GATEWAYS,
    SENSORS_EACH,
    Message,
    Publisher,
    add_spares,
    pack,
)
from tests.benchmark.ingest_setup import Bench
from tests.fixtures.ports import free_port

RATE_PER_S: Final = 100.0
RECORDS: Final = 10
_EACH: Final = int(RATE_PER_S) * RECORDS * EVERY_S // GATEWAYS
"""Sensors of each gateway, so that each speaks once a minute; all but a few hang nowhere."""
DRUMS: Final = 300
WARM_UP: Final = 1 / 3
"""Of the whole time, which does not count for the slope: caches and pages fill."""
_ODD_ONES: Final = 0.02
_DAY_MS: Final = 86_400_000
_TABLES: Final = ("reading", "reject", "stray", "stray_reading", "checkpoint")


@dataclass(frozen=True)
class Look:
    """The service at one moment."""

    minute: int
    rss_mib: float
    threads: int


def soak(bench: Bench, *, minutes: int) -> dict[str, Any]:
    """Run the service under a moderate load for so many minutes; tell its size as it goes."""
    with ExitStack() as ends:
        url = ends.enter_context(bench.database("sqlite"))
        engine = create(url)
        now = datetime.now(UTC)  # noqa: TID251 - readings come live
        build(engine, drums=DRUMS, now=now)
        add_spares(engine, each=_EACH - SENSORS_EACH)
        _a_day_before(engine, now=now)
        port = free_port()
        service = subprocess.Popen(
            [sys.executable, "-m", "drumkeep", "serve", "--port", str(port)],
            env=environment(bench, url),
            stderr=subprocess.DEVNULL,
        )
        ends.callback(service.kill)
        _until_ready(port)
        publisher = Publisher(bench.broker.host, bench.broker.port)
        looks = [_look(0, service.pid)]
        sent = 0
        for minute in range(1, minutes + 1):
            sent += _a_minute(publisher, first=sent)
            looks.append(_look(minute, service.pid))
            sys.stderr.write(f"{looks[-1]}\n")
            sys.stderr.flush()
        publisher.close()
        service.terminate()
        service.wait(30)
        rows = _count(url)
        engine.dispose()
    counted = looks[int(len(looks) * WARM_UP) :]
    slope = np.polyfit([one.minute for one in counted], [one.rss_mib for one in counted], 1)[0]
    return {
        "minutes": minutes,
        "messages_sent": sent,
        "drums": DRUMS,
        "rows": rows,
        "rss_mib": [round(one.rss_mib, 1) for one in looks],
        "threads": [one.threads for one in looks],
        "slope_mib_per_hour": round(float(slope) * 60, 2),
    }


def _until_ready(port: int) -> None:
    deadline = time.monotonic() + 300
    while time.monotonic() < deadline:
        try:
            if httpx.get(f"http://127.0.0.1:{port}/ready").is_success:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.5)
    raise RuntimeError("the service is not ready")


def _a_minute(publisher: Publisher, *, first: int) -> int:
    """Publish for a minute, a second's worth after the other; return how many messages."""
    dice = random.Random(first)  # noqa: S311 - no secret
    number = first
    for _ in range(60):
        at_s = time.time()  # noqa: TID251 - readings come live
        some = [
            _odd(dice, n) if dice.random() < _ODD_ONES else _pack(n, at_s)
            for n in range(number, number + int(RATE_PER_S))
        ]
        publisher.steadily(some, per_s=RATE_PER_S)
        number += len(some)
        time.sleep(max(0.0, at_s + 1.0 - time.time()))  # noqa: TID251
    return number - first


def _odd(dice: random.Random, number: int) -> Message:
    """Give what cannot be stored as it is."""
    at_s = time.time()  # noqa: TID251
    topic, payload = _pack(number, at_s)
    kind = dice.randrange(4)
    if kind == 0:
        return topic, b"no JSON " + dice.randbytes(20)
    if kind == 1:  # a name that nobody has registered
        return topic, payload.replace(b"urn:dev:ow:10", b"urn:dev:ow:%04x" % dice.randrange(5000))
    if kind == 2:  # a year ahead
        return _pack(number, at_s + 365 * 86_400.0)
    return f"drumkeep/v1/nowhere/g{dice.randrange(10**6)}/readings", payload


def _pack(number: int, at_s: float) -> Message:
    return pack(number, records=RECORDS, at_s=at_s, each=_EACH)


def _a_day_before(engine: Engine, *, now: datetime) -> None:
    """Store a day of readings of the sensors that hang in places."""
    last = to_ms(now)
    times = range(last - _DAY_MS, last, EVERY_S * 1000)
    with transaction(engine) as tx:
        for mounted in alarm_sources.mounted_sensors(tx):
            rows = [(mounted.sensor_id, ts, 15.0 + ts % 700 / 100) for ts in times]
            readings.insert_batch(tx, rows=rows)
            readings.raise_latest(tx, rows=rows[-1:], received_ms=last)


def _look(minute: int, pid: int) -> Look:
    status = dict(
        line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines()
    )
    return Look(minute, int(status["VmRSS"].split()[0]) / 1024, int(status["Threads"]))


def _count(url: str) -> dict[str, int]:
    engine = create(url)
    with reading(engine) as tx:
        connection = tx.session.connection()
        found = {
            table: int(connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())  # noqa: S608
            for table in _TABLES
        }
    engine.dispose()
    return found
