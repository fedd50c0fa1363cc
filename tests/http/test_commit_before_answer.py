"""The answer is sent when what it says is stored, and not before."""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from sqlalchemy import event
from sqlmodel import Session

from drumkeep.domain.roles import Role
from drumkeep.storage.transaction import reading
from tests.builders import catalogue as build
from tests.fixtures.serving import Serving, serve

API = "/api/v1"
Calls = list[Callable[[], None]]
PAUSE_S = 0.3


@pytest.fixture
def serving(tmp_path: Path):
    with serve(tmp_path) as running:
        yield running


@pytest.fixture
def manager(serving: Serving):
    with serving.client(Role.MANAGER) as client:
        yield client


@pytest.fixture
def before_commit():
    """Give a list of calls that every commit makes first."""
    calls: Calls = []

    def run(_session: Session) -> None:
        for call in calls:
            call()

    event.listen(Session, "before_commit", run)
    yield calls
    event.remove(Session, "before_commit", run)


def test_a_slow_commit_delays_the_answer(manager: httpx.Client, before_commit: Calls):
    before_commit.append(lambda: time.sleep(PAUSE_S))
    site = build.site()
    begun = time.perf_counter()

    answer = manager.post(f"{API}/sites", json=site)

    assert answer.status_code == 201
    assert time.perf_counter() - begun >= PAUSE_S
    assert manager.get(f"{API}/sites/{site['code']}").status_code == 200


def test_a_failed_commit_is_an_error_and_stores_nothing(
    manager: httpx.Client, before_commit: Calls
):
    def fail() -> None:
        raise OSError("the disk is gone")

    before_commit.append(fail)
    site = build.site()

    answer = manager.post(f"{API}/sites", json=site)

    assert answer.status_code == 500
    before_commit.clear()
    assert manager.get(f"{API}/sites/{site['code']}").status_code == 404


def test_a_locked_database_is_said_and_left_alone(serving: Serving, manager: httpx.Client):
    manager.get(f"{API}/session")  # from now on its token's use is noted
    raw = serving.engine.raw_connection()
    raw.execute("BEGIN IMMEDIATE")
    try:
        answer = manager.post(f"{API}/sites", json=build.site())
        assert manager.get(f"{API}/sites").status_code == 200
    finally:
        raw.execute("ROLLBACK")
        raw.close()

    assert answer.status_code == 503
    assert answer.json()["type"] == "urn:drumkeep:problem:unavailable"
    assert manager.post(f"{API}/sites", json=build.site()).status_code == 201


def test_an_error_after_writing_undoes_it(serving: Serving, manager: httpx.Client):
    # The sensor is stored before its mount turns out to be impossible.
    body = build.sensor(mount={"what": "air", "place": "nowhere/at-all"})

    assert manager.post(f"{API}/sensors", json=body).status_code == 422

    with reading(serving.engine) as tx:
        count = tx.session.connection().exec_driver_sql("SELECT count(*) FROM sensor").scalar()
    assert count == 0


def test_many_who_write_and_read_at_once_are_all_served(serving: Serving):
    # More than there are threads: if they waited for the lock in threads, whoever holds it would
    # find none to go on in, and be told after the busy timeout that the database is locked.
    def ask(number: int) -> int:
        if number % 2:
            return client.post(f"{API}/sites", json=build.site()).status_code
        return client.get(f"{API}/sites").status_code

    client = httpx.Client(
        base_url=serving.url,
        headers={"Authorization": f"Bearer {serving.secrets[Role.MANAGER]}"},
        limits=httpx.Limits(max_connections=100),
        timeout=30,
    )
    with client, ThreadPoolExecutor(80) as crowd:
        statuses = list(crowd.map(ask, range(160)))

    assert sorted(statuses) == [200] * 80 + [201] * 80
