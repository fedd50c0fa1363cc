"""PostgreSQL is started again under a whole service: it comes back by itself, and says 503 till."""

import threading
import time
from collections import Counter
from typing import Final

import httpx
import pytest

from tests.end_to_end.bad_days.conftest import Headquarters
from tests.fixtures.company import Company, check_each_once
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.postgres, pytest.mark.broker, pytest.mark.slow, pytest.mark.timeout(180)]

PAGES: Final = ("/floor", "/sensors", "/api/v1/drums", "/ready", "/health")
AWAY_S: Final = 1.0
BACK_WITHIN_S: Final = 40.0  # it takes five where nothing else runs


class Onlookers:
    """People and programs that ask for pages all the time, and record something now and then."""

    def __init__(self, everyone: Company) -> None:
        self._everyone = everyone
        self._ended = threading.Event()
        self.answers: Counter[int] = Counter()
        self.unclear: list[str] = []
        self.made: list[str] = []
        self._threads = [threading.Thread(target=self._look, args=(n,)) for n in range(3)]
        for thread in self._threads:
            thread.start()

    def end(self) -> None:
        self._ended.set()
        for thread in self._threads:
            thread.join()

    def _look(self, number: int) -> None:
        with self._everyone.client() as client:
            turn = 0
            while not self._ended.wait(0.1):
                turn += 1
                if number == 0 and turn % 5 == 0:
                    self._make(client, f"s{turn}")
                else:
                    self._note(client.get(PAGES[turn % len(PAGES)]))

    def _make(self, client: httpx.Client, code: str) -> None:
        body = {"code": code, "name": code, "timezone": "UTC"}
        answer = client.post("/api/v1/sites", json=body)
        self._note(answer)
        if answer.status_code == 201:
            self.made.append(code)

    def _note(self, answer: httpx.Response) -> None:
        self.answers[answer.status_code] += 1
        if answer.status_code == 503:
            if "database" not in answer.text or "Retry-After" not in answer.headers:
                self.unclear.append(answer.text)
        elif answer.status_code not in {200, 201}:
            self.unclear.append(f"{answer.status_code} {answer.url}: {answer.text}")


def now_s() -> float:
    return time.time()  # noqa: TID251 - what gateways date their readings by


def works(everyone: Company, *, since_s: float) -> bool:
    """Whether since then pages are served, drums were computed and readings taken and stored."""
    newest = everyone.newest_ms("restarted")
    if newest is None or not everyone.service.answers():
        return False
    with everyone.client() as client:
        figures = dict(
            line.split() for line in client.get("/metrics").text.splitlines() if line[0] != "#"
        )
    advanced = float(figures["drumkeep_schedule_seconds_since_advance"])
    return now_s() - advanced > since_s and newest > since_s * 1000


def test_the_whole_service_comes_back_by_itself_however_postgresql_was_ended(
    headquarters: Headquarters,
):
    everyone, cluster = headquarters.everyone, headquarters.cluster
    everyone.open_site("restarted").start()
    begun = now_s()
    wait_until(lambda: works(everyone, since_s=begun), "it works")
    onlookers = Onlookers(everyone)
    try:
        for end in (
            lambda: cluster.stop("fast"),
            lambda: cluster.stop("immediate"),
            cluster.kill,
        ):
            end()
            time.sleep(AWAY_S)
            cluster.start()
            back = now_s()
            wait_until(
                lambda: works(everyone, since_s=back),  # noqa: B023
                "it works again",
                within_s=BACK_WITHIN_S,
            )
    finally:
        onlookers.end()
    print(dict(onlookers.answers))  # noqa: T201 - a long run tells its figures

    assert onlookers.unclear == []
    assert onlookers.answers[503] > 0
    assert onlookers.answers[200] > 0
    with everyone.client() as client:
        sites = {site["code"] for site in client.get("/api/v1/sites?limit=200").json()["items"]}
    assert set(onlookers.made) <= sites  # what was said to be stored is stored
    check_each_once(everyone.settle("restarted"), at_least=100)
