"""Several processes receive by several sessions: every reading is stored once, whoever dies."""

import json
import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import httpx
import psycopg
import pytest

from drumkeep.domain.sharing import home
from drumkeep.ingest.address import broker_at
from drumkeep.ingest.intake import Intake
from drumkeep.operations import accounts
from drumkeep.storage.engine import Engine
from drumkeep.storage.tables.catalogue import Gateway, Sensor, Site
from drumkeep.storage.transaction import transaction
from tests.end_to_end.ingest_runs import is_kept, publish, publisher
from tests.end_to_end.test_live import receive_a_drum, wait_until_ready
from tests.end_to_end.whole_service import PASSWORD
from tests.fixtures.broker import Mosquitto
from tests.fixtures.ports import free_port
from tests.fixtures.postgres import Postgres
from tests.fixtures.process import Process, wait_until
from tests.fixtures.shed import stored
from tests.fixtures.stores import Store

pytestmark = [pytest.mark.postgres, pytest.mark.slow, pytest.mark.timeout(180)]

SLOTS = 3
READINGS = 3000
STARTS_WITHIN_S = 120.0
TAKES_OVER_WITHIN_S = 15.0  # it takes one on a machine that does nothing else
# Two sites at home with each of the sessions.
SITES = [
    site
    for slot in range(SLOTS)
    for site in [name for name in map("yard-{}".format, range(40)) if home(name, slots=3) == slot][
        :2
    ]
]
NOW = time.time()  # noqa: TID251 - readings must be recent to be taken


@dataclass(frozen=True)
class Yards:
    """A company of six sites on PostgreSQL, and its broker."""

    engine: Engine
    url: str
    broker: Mosquitto

    def ask(self, sql: str) -> list[tuple[object, ...]]:
        """Ask the database, without drumkeep."""
        with psycopg.connect(self.url.replace("+psycopg", "")) as connection:
            return connection.execute(sql.encode()).fetchall()

    def stored(self) -> int:
        """Count what is stored."""
        return int(str(self.ask("SELECT count(*) FROM reading")[0][0]))

    def refused(self) -> int:
        """Count what was refused."""
        return int(str(self.ask("SELECT coalesce(sum(times), 0) FROM reject")[0][0]))

    def taken(self) -> dict[str, set[int]]:
        """Return by which sessions each site's messages come."""
        found: dict[str, set[int]] = {}
        for slot, site in self.ask("SELECT slot, site FROM session_site WHERE NOT leaving"):
            found.setdefault(str(site), set()).add(int(str(slot)))
        return found

    def shared_out(self) -> bool:
        """Whether each site's messages come by the session that is its home."""
        wanted = {site: {home(site, slots=SLOTS)} - {0} for site in SITES}
        found = {site: slots for site, slots in self.taken().items() if site in SITES}
        return {site: slots for site, slots in wanted.items() if slots} == found


def name(site: str) -> str:
    return f"urn:dev:os:32473-{site}:temp"


def send(client, number: int, *, site: str | None = None) -> None:
    site = site or SITES[number % len(SITES)]
    record = {"n": name(site), "u": "Cel", "v": number / 100, "t": NOW - number}
    client.publish(f"drumkeep/v1/{site}/gw/readings", json.dumps([record]), qos=1)


def register(engine: Engine, *sites: str) -> None:
    with transaction(engine) as tx:
        for site in sites:
            site_id = stored(tx, Site(code=site, name=site, timezone="UTC"))
            gateway_id = stored(
                tx, Gateway(site_id=site_id, code="gw", urn=f"urn:dev:os:32473-{site}")
            )
            stored(
                tx,
                Sensor(
                    name=name(site),
                    gateway_id=gateway_id,
                    quantity="temperature",
                    unit="Cel",
                    interval_s=300,
                ),
            )


@pytest.fixture
def yards(postgres: Postgres, mosquitto: Mosquitto, tmp_path: Path) -> Iterator[Yards]:
    store = Store(tmp_path, postgres)
    with store.engine(tmp_path, mould=store.tables) as engine:
        register(engine, *SITES)
        with transaction(engine) as tx:
            accounts.create_account(
                tx,
                name="anna",
                display_name="Anna",
                role="manager",
                password=PASSWORD,
                now=datetime.now(UTC),  # noqa: TID251 - a real service
            )
        url = engine.url.render_as_string(hide_password=False)
        yield Yards(engine, url, mosquitto)
    store.close()


def process(yards: Yards, folder: Path, name: str, *arguments: str) -> Process:
    return Process(
        [sys.executable, "-m", "drumkeep", "serve", *arguments],
        told=folder / f"{name}.log",
        environment={
            "DRUMKEEP_DATABASE_URL": yards.url,
            "DRUMKEEP_DATA_DIR": str(folder / name),
            "DRUMKEEP_MQTT_URL": f"mqtt://{yards.broker.host}:{yards.broker.port}",
            "DRUMKEEP_INGEST_SLOTS": str(SLOTS),
            "DRUMKEEP_SECRET_KEY": "one key for all of them, 32 characters or more",
        },
    )


def receives(process: Process) -> int:
    return process.told().count("This process receives by session")


def runs_jobs(process: Process) -> bool:
    return "this process runs the jobs now" in process.told()


def test_two_of_each_serve_together_and_of_two_workers_one_is_killed_under_load(
    yards: Yards, tmp_path: Path
):
    dice = random.Random(20261125)  # noqa: S311 - no secret
    ports = [free_port(), free_port()]
    webs = [
        process(yards, tmp_path, f"web-{port}", "--only", "web", "--port", str(port))
        for port in ports
    ]
    one, two = (
        process(yards, tmp_path, name, "--only", "ingest,schedule") for name in ("one", "two")
    )
    with ExitStack() as ends:
        for each in (one, *webs):
            ends.callback(each.kill)
            each.start()
        wait_until(lambda: runs_jobs(one), "one runs the jobs", within_s=STARTS_WITHIN_S)
        ends.callback(two.kill)
        two.start()
        pages = [
            ends.enter_context(httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20))
            for port in ports
        ]
        for page in pages:
            wait_until_ready(page)
        serve_as_one(pages)
        wait_until(
            lambda: min(receives(one), receives(two)) > 0, "both receive", within_s=STARTS_WITHIN_S
        )
        wait_until(yards.shared_out, "the sites are shared out")
        with publisher(yards.broker) as client, ThreadPoolExecutor() as pool:
            for number in range(READINGS):
                send(client, number)
                time.sleep(dice.uniform(0, 0.001))
                if number == READINGS // 3:
                    assert not runs_jobs(two)
                    one.kill()
                    receiving_s = pool.submit(seconds_until, lambda: receives(two) >= SLOTS)
                    running_s = pool.submit(seconds_until, lambda: runs_jobs(two))
        wait_until(lambda: yards.stored() == READINGS, "all is stored")
        two.stop()
    assert yards.refused() == 0
    assert receiving_s.result() < TAKES_OVER_WITHIN_S
    assert running_s.result() < TAKES_OVER_WITHIN_S


def serve_as_one(pages: Sequence[httpx.Client]) -> None:
    """Sign in at one, be known to the other, and have it tell of what is changed at the first."""
    here, there = pages
    answer = here.post("/api/v1/session", json={"name": "anna", "password": PASSWORD})
    here.headers["X-CSRF-Token"] = there.headers["X-CSRF-Token"] = answer.json()["csrf"]
    there.cookies.update(here.cookies)
    with there.stream("GET", "/live") as stream:
        events = (line for line in stream.iter_lines() if line.startswith("event: "))
        assert next(events) == "event: hello"
        tag = receive_a_drum(here)
        assert next(events) == "event: changed"
    assert there.get(f"/api/v1/drums/{tag}").status_code == 200
    assert there.delete("/api/v1/session").status_code == 204
    assert here.get("/api/v1/session").status_code == 401


def seconds_until(met: Callable[[], bool]) -> float:
    begun = time.monotonic()
    wait_until(met, "it takes over")
    return time.monotonic() - begun


@contextmanager
def receiving(yards: Yards, *, slots: int) -> Iterator[Intake]:
    address = f"mqtt://{yards.broker.host}:{yards.broker.port}"
    intake = Intake(
        engine=yards.engine,
        broker=broker_at(address, root="drumkeep/v1"),
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - a real service
        slots=slots,
    )
    intake.start()
    try:
        yield intake
    finally:
        intake.stop()


def passes(intake: Intake) -> Callable[[], bool]:
    """Whether session 0 lets pass what the others take."""
    away = {site for site in SITES if home(site, slots=SLOTS)}
    return lambda: 0 in intake.held and intake._sessions[0]._share._now.passes == away


def test_sessions_more_and_sessions_fewer_lose_nothing_that_waits(yards: Yards):
    sent = 0

    def send_some(client, *, site: str | None = None) -> None:
        nonlocal sent
        for _ in range(30):
            send(client, sent, site=site)
            sent += 1

    def all_stored() -> bool:
        return yards.stored() == sent

    with publisher(yards.broker) as client:
        with receiving(yards, slots=1):
            wait_until(lambda: "SUBACK" in yards.broker.log(), "the first session is there")
            send_some(client)
            wait_until(all_stored, "one session stores all")
            assert yards.taken() == {}
        send_some(client)  # it waits in session 0, and is another's from now on
        with receiving(yards, slots=SLOTS) as intake:
            wait_until(passes(intake), "session 0 lets pass what others take")
            send_some(client)
            wait_until(all_stored, "each session stores its own")
            stranger = [{"n": name("nowhere"), "u": "Cel", "v": 1.0}]
            publish(client, "drumkeep/v1/nowhere/gw/readings", stranger)
            wait_until(lambda: yards.refused() == 1, "what nobody registered is refused, once")
            new = next(
                site for site in map("late-{}".format, range(40)) if home(site, slots=3) == 2
            )
            register(yards.engine, new)
            send_some(client, site=new)
            wait_until(all_stored, "what came before it had a session is stored")
            wait_until(lambda: yards.taken().get(new) == {2}, "its session takes the new site")
            send_some(client, site=new)
            wait_until(all_stored, "what comes by its session is stored")
        send_some(client)  # it waits in all three
        with receiving(yards, slots=1) as intake:
            wait_until(
                lambda: yards.ask("SELECT slot FROM broker_session") == [(0,)],
                "the others are emptied and no more",
            )
            assert all_stored()
            assert intake.held == [0]
            wait_until(lambda: yards.taken() == {}, "nobody is to give up anything")
            send_some(client)
            wait_until(all_stored, "one session stores all again")
    assert is_kept(yards.broker, "drumkeep-ingest")
    assert not is_kept(yards.broker, "drumkeep-ingest-1")
    assert not is_kept(yards.broker, "drumkeep-ingest-2")
