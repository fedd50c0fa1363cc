"""How large a company this machine can serve: PostgreSQL, Mosquitto and several processes on it.

    python -m tests.benchmark.scale live --sites 2000 --sensors 50000 --drums 100000 --minutes 11
    python -m tests.benchmark.scale drain --workers 1,2,4 --packs 20000

``live`` lets every sensor speak every five minutes, asks pages and records events meanwhile, and
tells what each takes. ``drain`` lets messages wait at the broker, and tells how fast so many
workers store them and how many of them wait for the others. JSON on the standard output.
"""

import argparse
import json
import statistics
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final
from uuid import uuid4

import httpx

from drumkeep.domain.grid import step_at
from tests.benchmark.ingest_load import Publisher
from tests.benchmark.scale_company import INTERVAL_S, Company, pack_of
from tests.benchmark.scale_running import PATIENCE_S, Running
from tests.fixtures.broker import running_mosquitto
from tests.fixtures.ports import free_port
from tests.fixtures.postgres import running_postgres
from tests.fixtures.process import wait_until

CATCHES_UP_WITHIN_S: Final = 100.0
_DAY_S: Final = 86_400


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("mode", choices=["live", "drain"])
    parser.add_argument("--sites", type=int, default=2000)
    parser.add_argument("--sensors", type=int, default=50_000)
    parser.add_argument("--drums", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=11.0)
    parser.add_argument("--workers", default="2")
    parser.add_argument("--packs", type=int, default=20_000)
    given = parser.parse_args()
    with ExitStack() as ends:
        folder = Path(ends.enter_context(TemporaryDirectory()))
        cluster = ends.enter_context(running_postgres(durable=True))
        broker = ends.enter_context(running_mosquitto(folder / "broker", quiet=True))
        database = ends.enter_context(cluster.database())
        begun = time.monotonic()
        site = Running.make(
            cluster,
            broker,
            database,
            folder,
            sites=given.sites,
            sensors=given.sensors,
            drums=given.drums,
        )
        built_s = time.monotonic() - begun
        call = _live if given.mode == "live" else _drain
        told = {
            "sites": given.sites,
            "sensors": given.sensors,
            "drums": given.drums,
            "built_s": round(built_s, 1),
            **call(site, given),
        }
    json.dump(told, sys.stdout, indent=2)
    sys.stdout.write("\n")


# Everything at once, as long as it is asked for.


def _live(site: Running, given: argparse.Namespace) -> dict[str, Any]:
    now_s = int(time.time())  # noqa: TID251 - sensors speak of now
    workers = int(given.workers.split(",")[0])
    port = free_port()
    with ExitStack() as ends:
        begun = time.monotonic()
        ends.enter_context(site.process("schedule", "--only", "schedule"))
        while _behind(site, 1) and time.monotonic() < begun + CATCHES_UP_WITHIN_S:
            time.sleep(1.0)
        first_s = time.monotonic() - begun
        for number in range(workers):
            ends.enter_context(site.process(f"ingest-{number}", "--only", "ingest"))
        ends.enter_context(site.process("web", "--only", "web", "--port", str(port)))
        site.wait_for_sessions()
        client = ends.enter_context(
            httpx.Client(
                base_url=f"http://127.0.0.1:{port}",
                headers={"Authorization": f"Bearer {site.secret}"},
                timeout=120.0,
            )
        )
        wait_until(lambda: _answers(client), "pages are there", within_s=PATIENCE_S)
        size, stored = _size(site), site.number("SELECT count(*) FROM reading")
        until = time.monotonic() + 60 * given.minutes
        watching = _Watching(site, until)
        sent = _Sending(site, until, since_s=now_s)
        asking = _Asking(client, site.company, until)
        for part in (watching, sent, asking):
            part.start()
        for part in (watching, sent, asking):
            part.join()
        wait_until(
            lambda: site.number("SELECT count(*) FROM reading") >= stored + sent.readings,
            "all is stored",
            within_s=PATIENCE_S,
        )
        new = site.number("SELECT count(*) FROM reading") - stored
        octets = (_size(site) - size) / max(new, 1)
        per_day = given.sensors * _DAY_S / INTERVAL_S
        return {
            "minutes": given.minutes,
            "readings_per_s_needed": round(given.sensors / INTERVAL_S, 1),
            "readings_per_s_had": round(sent.readings / (60 * given.minutes), 1),
            "readings_lost": int(sent.readings - new),
            "refused": int(site.number("SELECT count(*) FROM reject")),
            "caught_up_s": round(first_s, 1),
            "rounds_s": [round(one, 1) for one in watching.rounds],
            "most_drums_behind": watching.most_behind,
            "waiting_for_the_lock": watching.share_waiting(),
            "rss_mib": watching.rss_mib,
            "octets_a_reading": round(octets, 1),
            "gib_a_day": round(octets * per_day / 2**30, 2),
            "pages_ms": {name: _quantiles(took) for name, took in asking.took.items()},
        }


def _behind(site: Running, steps: int) -> int:
    """Count drums that are not computed up to so many steps before now."""
    now = datetime.now(UTC)  # noqa: TID251 - a real service
    drums = site.number("SELECT count(*) FROM drum")
    step = step_at(now) - steps
    computed = f"SELECT count(*) FROM estimate WHERE step >= {step}"  # noqa: S608 - a number
    return int(drums - site.number(computed))


def _size(site: Running) -> float:
    """Octets of all that a reading leaves behind: readings, their hours, and the latest."""
    return site.number(
        "SELECT sum(pg_total_relation_size(oid)) FROM pg_class WHERE relkind = 'r'"
        " AND (relname LIKE 'reading%' OR relname LIKE 'rollup%' OR relname = 'latest')"
    )


def _answers(client: httpx.Client) -> bool:
    try:
        return client.get("/ready").status_code == httpx.codes.OK
    except httpx.TransportError:
        return False


class _Watching(threading.Thread):
    """Looks once a second at how far the computation is, who waits, and what memory is held."""

    def __init__(self, site: Running, until: float) -> None:
        super().__init__(daemon=True)
        self._site = site
        self._until = until
        self._waiting: list[float] = []
        self.rounds: list[float] = []
        self.most_behind = 0
        self.rss_mib: dict[str, float] = {}

    def run(self) -> None:
        """Look."""
        begun: float | None = None
        while time.monotonic() < self._until:
            behind = _behind(self._site, 0)
            self.most_behind = max(self.most_behind, behind)
            if behind and begun is None:
                begun = time.monotonic()
            elif not behind and begun is not None:
                self.rounds.append(time.monotonic() - begun)
                begun = None
            self._waiting.append(self._site.waiting())
            for name, process in list(self._site.processes.items()):
                self.rss_mib[name] = max(self.rss_mib.get(name, 0.0), round(process.rss_mib()))
            time.sleep(1.0)

    def share_waiting(self) -> float:
        """Return how many wait for the lock of writers, on average."""
        return round(statistics.fmean(self._waiting), 3)


class _Sending(threading.Thread):
    """Has each gateway send a pack of all its sensors every five minutes, one after the other."""

    def __init__(self, site: Running, until: float, *, since_s: int) -> None:
        super().__init__(daemon=True)
        self._site = site
        self._until = until
        self._since_s = since_s
        self.readings = 0

    def run(self) -> None:
        """Send."""
        company = self._site.company
        publisher = Publisher(self._site.broker.host, self._site.broker.port)
        begun, number = time.monotonic(), 0
        per_s = len(company.sites) / INTERVAL_S
        while time.monotonic() < self._until:
            due = int((time.monotonic() - begun) * per_s)
            if due > number:
                turns = [divmod(one, len(company.sites)) for one in range(number, due)]
                packs = [
                    pack_of(company.sites[at], turn=turn, at_s=int(time.time()))  # noqa: TID251
                    for turn, at in turns
                ]
                publisher.publish(packs)
                self.readings += sum(len(company.sites[at].sensors) for _, at in turns)
                number = due
            time.sleep(0.05)
        publisher.close()


class _Asking(threading.Thread):
    """Opens a page after the other, and records an event now and then."""

    def __init__(self, client: httpx.Client, company: Company, until: float) -> None:
        super().__init__(daemon=True)
        self._client = client
        self._company = company
        self._until = until
        self.took: dict[str, list[float]] = defaultdict(list)

    def run(self) -> None:
        """Ask."""
        tags, number = self._company.tags, 0
        while time.monotonic() < self._until:
            number += 1
            tag = tags[number * 7919 % len(tags)]
            self._time("floor of a site", f"/floor?site={self._company.sites[number % 97].code}")
            self._time("drum", f"/drums/{tag}")
            self._time("chart", f"/drums/{tag}/chart.json")
            self._time(
                "list of a site", f"/api/v1/drums?place={self._company.sites[number % 97].code}/p0"
            )
            if number % 5 == 0:
                self._record(tag)
            if number % 20 == 0:
                self._time("floor of all", "/floor")
            time.sleep(0.5)

    def _time(self, name: str, path: str) -> None:
        begun = time.perf_counter()
        answer = self._client.get(path)
        self.took[name].append((time.perf_counter() - begun) * 1000.0)
        assert answer.status_code == httpx.codes.OK, answer.text

    def _record(self, tag: str) -> None:
        begun = time.perf_counter()
        now = datetime.now(UTC) - timedelta(seconds=1)  # noqa: TID251 - a real service
        answer = self._client.post(
            f"/api/v1/drums/{tag}/events",
            json={"id": str(uuid4()), "kind": "weighed", "at": now.isoformat(), "net_kg": 200.0},
        )
        self.took[f"event {answer.status_code}"].append((time.perf_counter() - begun) * 1000.0)


def _quantiles(took: Sequence[float]) -> dict[str, float]:
    ranked = sorted(took)
    return {
        "n": len(ranked),
        "p50": round(statistics.median(ranked), 1),
        "p95": round(ranked[int(0.95 * (len(ranked) - 1))], 1),
        "worst": round(ranked[-1], 1),
    }


# What waits at the broker, stored by so many workers.


def _drain(site: Running, given: argparse.Namespace) -> dict[str, Any]:
    company = site.company
    with site.process("ingest-0", "--only", "ingest"):
        site.wait_for_sessions()
        time.sleep(5.0)  # session 0 lets pass what others take
        site.processes["ingest-0"].stop()
    runs = []
    for run, workers in enumerate(int(one) for one in given.workers.split(",")):
        before = site.number("SELECT count(*) FROM reading")
        at_s = int(time.time()) - INTERVAL_S * (run + 1) * 50  # noqa: TID251
        packs = [
            pack_of(
                company.sites[n % len(company.sites)],
                turn=1000 * (run + 1) + n // len(company.sites),
                at_s=at_s + n // len(company.sites),
            )
            for n in range(given.packs)
        ]
        publisher = Publisher(site.broker.host, site.broker.port)
        publisher.publish(packs)
        publisher.close()
        expected = sum(
            len(company.sites[n % len(company.sites)].sensors) for n in range(len(packs))
        )
        waits: list[float] = []
        with ExitStack() as ends:
            for number in range(workers):
                ends.enter_context(site.process(f"ingest-{number}", "--only", "ingest"))
            seconds = _seconds_to_store(site, before, expected, waits)
        runs.append(
            {
                "workers": workers,
                "readings": expected,
                "readings_per_s": round(0.8 * expected / seconds),
                "writers_waiting": round(statistics.fmean(waits), 2),
            }
        )
    return {"runs": runs}


def _seconds_to_store(site: Running, before: float, expected: int, waits: list[float]) -> float:
    """Time the middle eight tenths: starting and ending is not what is asked for."""
    stored: Callable[[], float] = lambda: (  # noqa: E731
        site.number("SELECT count(*) FROM reading") - before
    )
    marks: list[float] = []
    for share in (0.1, 0.9, 1.0):
        while stored() < share * expected:
            waits.append(site.waiting())
            time.sleep(0.02)
        marks.append(time.monotonic())
        if not marks[1:]:
            waits.clear()
    return marks[1] - marks[0]


if __name__ == "__main__":
    main()
