"""How long the service takes for its pages with a full stock; JSON on standard output.

    python -m tests.benchmark.pages [--drums 10000] [--asks 60] [--store sqlite|postgresql|both]

The service runs in a process of its own on a loopback port, with a database of its own. All is
asked twice: of drums alone, and with 500 open alarms and 1,000 more sensors. As in ``serve``, what
was imported is no longer looked through for garbage. A time is that from the first octet of the
request to the last of the answer, asked one after the other. Nothing is shared between asks: each
floor is asked for anew, and "floor, all changed" is moreover the first look after a round that
changed every group, so that none is drawn yet.
"""

import argparse
import gc
import json
import multiprocessing
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Hashable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Final, TypeVar

import httpx

from drumkeep.asgi.shared import Shared
from drumkeep.domain.roles import Role
from drumkeep.storage.engine import Engine
from drumkeep.web import templating
from tests.benchmark.company import add_sensors, build, raise_alarms
from tests.fixtures.postgres import running_postgres
from tests.fixtures.serving import serve

STORES: Final = ("sqlite", "postgresql")
ALARMS: Final = 500
SENSORS: Final = 1000
CHANGED: Final = "floor, all changed"
_PROMISED_MS: Final = {"floor": 100.0, CHANGED: 100.0, "drum": 50.0}
_WARM_UP: Final = 3


FORGET: Final = "forget"
CROWD: Final = "crowd"
_T = TypeVar("_T")


@dataclass(frozen=True)
class Served:
    """A running service: where it is, a manager's token, and the tags of the drums there."""

    url: str
    secret: str
    tags: list[str]


@dataclass(frozen=True)
class Asked:
    """What one page took, ms, and how large it was."""

    store: str
    drums: int
    alarms: int
    more_sensors: int
    page: str
    promised_ms: float | None
    p50_ms: float
    p95_ms: float
    worst_ms: float
    kib: float


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--drums", type=int, default=10_000, help="drums in stock")
    parser.add_argument("--asks", type=int, default=60, help="of each page")
    parser.add_argument("--store", choices=(*STORES, "both"), default="both")
    given = parser.parse_args()
    found = []
    for store in STORES if given.store == "both" else (given.store,):
        with _serving(store, drums=given.drums) as (served, pipe):
            found += _ask(store, served, pipe, asks=given.asks, crowded=False)
            pipe.send(CROWD)
            pipe.recv()
            found += _ask(store, served, pipe, asks=given.asks, crowded=True)
    json.dump([asdict(one) for one in found], sys.stdout, indent=2)
    sys.stdout.write("\n")


def _ask(store: str, served: Served, pipe: Connection, *, asks: int, crowded: bool) -> list[Asked]:
    tags = served.tags
    some = tags[:: max(len(tags) // asks, 1)]
    pages = {
        "floor": ["/floor?view=shelves"],
        CHANGED: ["/floor?view=shelves"],
        "floor of a side": ["/floor?view=shelves&side=iso&readiness=too_cold"],
        "floor as a table": ["/floor/table"],
        "drum": [f"/drums/{tag}" for tag in some],
        "chart": [f"/drums/{tag}/chart.json" for tag in some],
        "crew's answer": [f"/d/{tag}" for tag in some],
        "stock": ["/stock"],
        "alarms": ["/alarms"],
        "sensors": ["/sensors"],
        "sensors, a page further on": ["/sensors?page=20"],
        "audit": ["/audit"],
        "list": ["/api/v1/drums?limit=200"],
        "list of what is ready": ["/api/v1/drums?limit=200&readiness=ready"],
    }
    found = []
    headers = {"Authorization": f"Bearer {served.secret}"}
    with httpx.Client(base_url=served.url, headers=headers, timeout=120.0) as client:
        for page, paths in pages.items():
            took, size = [], 0
            for n in range(asks + _WARM_UP):
                if page == CHANGED:
                    pipe.send(FORGET)
                    pipe.recv()
                begun = time.perf_counter()
                answer = client.get(paths[n % len(paths)])
                took.append((time.perf_counter() - begun) * 1000.0)
                assert answer.status_code == 200, answer.text
                size = len(answer.content)
            took = sorted(took[_WARM_UP:])
            found.append(
                Asked(
                    store=store,
                    drums=len(tags),
                    alarms=ALARMS if crowded else 0,
                    more_sensors=SENSORS if crowded else 0,
                    page=page,
                    promised_ms=_PROMISED_MS.get(page),
                    p50_ms=round(statistics.median(took), 1),
                    p95_ms=round(took[int(0.95 * (len(took) - 1))], 1),
                    worst_ms=round(took[-1], 1),
                    kib=round(size / 1024.0, 1),
                )
            )
    return found


@contextmanager
def _serving(store: str, *, drums: int) -> Iterator[tuple[Served, Connection]]:
    """Run a service of its own, and give what to ask it and where to tell it to forget."""
    context = multiprocessing.get_context("spawn")
    with ExitStack() as ends:
        folder = Path(ends.enter_context(tempfile.TemporaryDirectory()))
        database = None
        if store == "postgresql":
            cluster = ends.enter_context(running_postgres())
            database = cluster.url(ends.enter_context(cluster.database()))
        here, there = context.Pipe()
        child = context.Process(target=_serve, args=(folder, database, drums, there))
        child.start()
        there.close()
        try:
            yield here.recv(), here
        finally:
            here.close()
            child.join()


def _serve(folder: Path, database: str | None, drums: int, pipe: Connection) -> None:
    with serve(folder, database_url=database) as running:
        now = datetime.now(UTC)  # noqa: TID251
        tags = build(running.engine, drums=drums, now=now)
        _analyze(running.engine)
        running.app.state.services = replace(running.app.state.services, shared=_Anew())
        gc.collect()
        gc.freeze()
        pipe.send(Served(url=running.url, secret=running.secrets[Role.MANAGER], tags=tags))
        with suppress(EOFError):  # the other end is closed
            while True:
                told = pipe.recv()
                if told == FORGET:
                    templating._floor_group.cache_clear()
                else:
                    add_sensors(running.engine, number=SENSORS, now=now)
                    raise_alarms(running.engine, number=ALARMS, tags=tags, now=now)
                    _analyze(running.engine)
                pipe.send(told)


def _analyze(engine: Engine) -> None:
    with engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")


class _Anew(Shared):
    """Shares nothing: each asks as the first to look."""

    def get(self, key: Hashable, make: Callable[[], _T], *, now: datetime) -> _T:
        del key, now
        return make()


if __name__ == "__main__":
    main()
