"""How long the service takes for its pages with a full stock; JSON on standard output.

    python -m tests.benchmark.pages [--drums 10000] [--asks 100] [--store sqlite|postgresql|both]

The service runs in a process of its own on a loopback port, with a database of its own. A time is
that from the first octet of the request to the last of the answer, asked one after the other: the
floor and its table, a drum's page and its chart, the crew's answer, the JSON list.
"""

import argparse
import json
import multiprocessing
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Final

import httpx

from drumkeep.domain.roles import Role
from tests.benchmark.company import build
from tests.fixtures.postgres import running_postgres
from tests.fixtures.serving import serve

STORES: Final = ("sqlite", "postgresql")
_PROMISED_MS: Final = {"floor": 100.0, "drum": 50.0}


@dataclass(frozen=True)
class Asked:
    """What one page took, ms, and how large it was."""

    store: str
    drums: int
    page: str
    promised_ms: float | None
    p50_ms: float
    p95_ms: float
    worst_ms: float
    kib: float


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--drums", type=int, default=10_000, help="drums in stock")
    parser.add_argument("--asks", type=int, default=100, help="of each page")
    parser.add_argument("--store", choices=(*STORES, "both"), default="both")
    given = parser.parse_args()
    found = []
    for store in STORES if given.store == "both" else (given.store,):
        with _serving(store, drums=given.drums) as (url, secret, tags):
            found += _ask(store, url, secret, tags=tags, asks=given.asks)
    json.dump([asdict(one) for one in found], sys.stdout, indent=2)
    sys.stdout.write("\n")


def _ask(store: str, url: str, secret: str, *, tags: list[str], asks: int) -> list[Asked]:
    pages = {
        "floor": ["/floor?view=shelves"],
        "floor of a side": ["/floor?view=shelves&side=iso&readiness=too_cold"],
        "floor as a table": ["/floor/table"],
        "drum": [f"/drums/{tag}" for tag in tags[:: max(len(tags) // asks, 1)]],
        "chart": [f"/drums/{tag}/chart.json" for tag in tags[:: max(len(tags) // asks, 1)]],
        "crew's answer": [f"/d/{tag}" for tag in tags[:: max(len(tags) // asks, 1)]],
        "list": ["/api/v1/drums?limit=200"],
        "list of what is ready": ["/api/v1/drums?limit=200&readiness=ready"],
    }
    found = []
    with httpx.Client(base_url=url, headers={"Authorization": f"Bearer {secret}"}) as client:
        for page, paths in pages.items():
            took, size = [], 0
            for n in range(asks + 3):
                begun = time.perf_counter()
                answer = client.get(paths[n % len(paths)], timeout=120.0)
                took.append((time.perf_counter() - begun) * 1000.0)
                assert answer.status_code == 200, answer.text
                size = len(answer.content)
            took = sorted(took[3:])
            found.append(
                Asked(
                    store=store,
                    drums=len(tags),
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
def _serving(store: str, *, drums: int) -> Iterator[tuple[str, str, list[str]]]:
    """Give the address of a service, a viewer's token, and the tags of the drums there."""
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
            yield here.recv()
        finally:
            here.close()
            child.join()


def _serve(folder: Path, database: str | None, drums: int, pipe: Connection) -> None:
    with serve(folder, database_url=database) as running:
        tags = build(running.engine, drums=drums, now=datetime.now(UTC))  # noqa: TID251
        with running.engine.connect() as connection:
            connection.exec_driver_sql("ANALYZE")
        pipe.send((running.url, running.secrets[Role.MANAGER], tags))
        pipe.poll(None)  # until the other end is closed


if __name__ == "__main__":
    main()
