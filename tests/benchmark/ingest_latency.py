"""How long from publishing to the commit, and from the commit to what is computed of it."""

import os
import random
import statistics
import subprocess
import sys
import time
from contextlib import ExitStack
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from drumkeep.domain.readings import ArrivedPack
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.translate import translate
from drumkeep.operations.readings import record_batch
from drumkeep.storage import place_marks
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction
from drumkeep_wire.records import Record
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics
from tests.benchmark.company import build
from tests.benchmark.ingest_disk import hold_up
from tests.benchmark.ingest_load import SITE, Publisher
from tests.benchmark.ingest_rates import backlog
from tests.benchmark.ingest_raw import COMMITS, commit_s
from tests.benchmark.ingest_setup import Bench, Receiver

PROMISED_COMMITS: Final = 6.0
"""The 99th percentile from publishing to the commit, in commits of the same run: what ingest takes
to store one pack with nothing else to do. On a disk that flushes in an instant that is mostly
statements, on others mostly the flush."""

DRUMS: Final = 1000
_WARM_UP: Final = 0.2
"""Of the messages, which do not count: the first connection's first batches."""
_LOOK_EVERY_S: Final = 0.02


def latency(
    bench: Bench, store: str, *, per_s: float, seconds: float, flush_ms: float = 0.0
) -> dict[str, Any]:
    """Publish one record a message at a steady rate; return how long until each was stored.

    Parameters
    ----------
    flush_ms
        By how much every commit is held up, those compared with alike: as on a disk that takes so
        much longer than this one to flush.
    """
    count = int(per_s * seconds)
    messages = backlog(count, records=1)
    bench.broker.kill()
    bench.broker.start()
    commits = [_commits(bench, store, flush_ms=flush_ms)]
    with bench.database(store) as url:
        receiver = Receiver("pipeline", bench.broker, expected=count, url=url, flush_ms=flush_ms)
        try:
            publisher = Publisher(bench.broker.host, bench.broker.port)
            receiver.go()
            sent = publisher.steadily(messages, per_s=per_s)
            publisher.close()
            result = receiver.result()
        finally:
            receiver.end()
    commits.append(_commits(bench, store, flush_ms=flush_ms))
    took = np.array(result["committed"])[int(count * _WARM_UP) :]
    took = 1000.0 * (took - np.array(sent)[int(count * _WARM_UP) :])
    bare_ms, commit_ms = 1000.0 * np.mean(commits, axis=0)
    p50, p99 = np.percentile(took, [50.0, 99.0])
    return {
        "store": store,
        "messages_per_s": round(per_s),
        "flush_held_up_ms": flush_ms,
        "batches": result["batches"],
        "p50_ms": round(float(p50), 1),
        "p99_ms": round(float(p99), 1),
        "commit_ms": round(float(commit_ms), 2),
        "bare_commit_ms": round(float(bare_ms), 2),
        "p99_in_commits": round(float(p99 / commit_ms), 2),
        "p99_in_bare_commits": round(float(p99 / bare_ms), 2),
        "promised_in_commits": PROMISED_COMMITS,
    }


def _commits(bench: Bench, store: str, *, flush_ms: float) -> tuple[float, float]:
    """Return how long a commit takes, s: of one row by the driver, and of one pack by ingest."""
    with bench.database(store) as url:
        bare = commit_s(url, flush_s=flush_ms / 1000.0)
        engine = create(url)
        hold_up(engine, flush_ms=flush_ms)
        took = []
        for topic, payload in backlog(COMMITS, records=1):
            now = datetime.now(UTC)  # noqa: TID251 - readings come live
            arrived = Arrived(topic, payload, len(payload), False, now, 1, 1, 1)  # noqa: FBT003
            pack = translate(arrived, topics=Topics())
            assert isinstance(pack, ArrivedPack)
            begun = time.perf_counter()
            with transaction(engine) as tx:
                record_batch(tx, packs=[pack], now=now)
            took.append(time.perf_counter() - begun)
        engine.dispose()
    return bare, statistics.median(took)


def refresh(bench: Bench, store: str, *, seconds: float) -> dict[str, Any]:
    """Send the air of places that hold drums; return how long until the drums are computed.

    From the commit, which marks the place, until the mark is settled: with the transaction that
    stores what was computed of its drums.
    """
    with ExitStack() as ends:
        url = ends.enter_context(bench.database(store))
        engine = create(url)
        ends.callback(engine.dispose)
        build(engine, drums=DRUMS, now=datetime.now(UTC))  # noqa: TID251 - readings come live
        service = subprocess.Popen(
            [sys.executable, "-m", "drumkeep", "serve", "--only", "ingest,schedule"],
            env=environment(bench, url),
            stderr=subprocess.DEVNULL,
        )
        ends.callback(service.wait)
        ends.callback(service.terminate)
        _until_computed(engine)
        took = _watch(bench, engine, seconds=seconds)
    p50, p99 = np.percentile(took, [50.0, 99.0])
    return {
        "store": store,
        "drums": DRUMS,
        "readings_that_marked": len(took),
        "p50_s": round(float(p50), 2),
        "p99_s": round(float(p99), 2),
        "worst_s": round(max(took), 2),
    }


def environment(bench: Bench, url: str) -> dict[str, str]:
    """Return what the service is told of its broker and its store."""
    return {
        **os.environ,
        "DRUMKEEP_DATABASE_URL": url,
        "DRUMKEEP_DATA_DIR": str(bench.folder),
        "DRUMKEEP_MQTT_URL": f"mqtt://{bench.broker.host}:{bench.broker.port}",
    }


def _until_computed(engine: Engine) -> None:
    """Wait until all drums are computed for the first time."""
    deadline = time.monotonic() + 300
    while time.monotonic() < deadline:
        with reading(engine) as tx:
            connection = tx.session.connection()
            known = connection.exec_driver_sql("SELECT count(*) FROM estimate").scalar()
        if known == DRUMS and not _standing(engine):
            return
        time.sleep(0.2)
    raise RuntimeError("the drums are not computed")


def _watch(bench: Bench, engine: Engine, *, seconds: float) -> list[float]:
    """Send a reading of some place every quarter second, and see when its mark comes and goes."""
    with reading(engine) as tx:
        listed = tx.session.connection().exec_driver_sql("SELECT name FROM sensor")
        names = [name for name in listed.scalars() if name.startswith("air-")]
    dice = random.Random(1)  # noqa: S311 - no secret
    publisher = Publisher(bench.broker.host, bench.broker.port)
    topic = Topics().readings(site=SITE, gateway="g0")
    took: list[float] = []
    since: dict[int, float] = {}
    until = time.monotonic() + seconds
    next_at = time.monotonic()
    while time.monotonic() < until:
        if time.monotonic() >= next_at:
            next_at += 0.25
            at_s = time.time()  # noqa: TID251 - readings come live
            record = Record(dice.choice(names), "Cel", round(dice.uniform(0.0, 20.0), 2), at_s)
            publisher.publish([(topic, encode_pack([record]))])
        now, marked = time.monotonic(), _standing(engine)
        for place in marked - since.keys():
            since[place] = now
        took += [now - since.pop(place) for place in since.keys() - marked]
        time.sleep(_LOOK_EVERY_S)
    publisher.close()
    return took


def _standing(engine: Engine) -> set[int]:
    with reading(engine) as tx:
        return {mark.place_id for mark in place_marks.standing(tx)}
