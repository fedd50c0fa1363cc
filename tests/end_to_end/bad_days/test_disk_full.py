"""The disk is full: at a gateway, at the service's own database, at PostgreSQL."""

import time
from pathlib import Path
from typing import Final

import pytest

from tests.fixtures.broker import Mosquitto
from tests.fixtures.company import Company, check_each_once, company
from tests.fixtures.medium import Medium, medium
from tests.fixtures.postgres import running_postgres
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(180)]

GATEWAY_OCTETS: Final = 2 * 2**20
SQLITE_OCTETS: Final = 24 * 2**20
POSTGRES_OCTETS: Final = 48 * 2**20
FULL_S: Final = 3.0
MANY: Final = 40
"""Readings; a little may find room where there was some left."""

PAGES: Final = ("/floor", "/alarms", "/sensors", "/api/v1/drums", "/api/v1/sensors")
NEW: Final = {"code": "new", "name": "New", "timezone": "UTC"}
WORDS: Final = "The disk of the database is full"


def test_a_gateway_with_a_full_medium_goes_on_and_loses_nothing(
    tmp_path: Path, mosquitto: Mosquitto
):
    with (
        medium(tmp_path / "north", octets=GATEWAY_OCTETS) as card,
        company(
            tmp_path, url=f"sqlite:///{tmp_path}/drumkeep.db", door=mosquitto, sites=["north"]
        ) as everyone,
    ):
        gateway = everyone.gateways["north"]
        everyone.start()

        def without_room() -> bool:
            card.fill()  # again and again: what is held back for sending gives a little room
            return "The spool cannot be written" in gateway.told()

        wait_until(without_room, "it says so")
        begun = time.time() * 1000  # noqa: TID251 - the gateway reads the same clock
        time.sleep(FULL_S)
        ended = time.time() * 1000  # noqa: TID251
        kept = gateway.notes.count()
        card.clear()
        wait_until(lambda: gateway.notes.count() > kept, "the spool takes readings again")
        check_each_once(everyone.settle(), at_least=40)

        during = [ts for _, ts, _ in gateway.notes.of() if begun < ts <= ended]
        assert len(during) >= 10 * FULL_S  # what no medium took waited in memory
        assert "The spool can be written again" in gateway.told()
        assert "Traceback" not in gateway.told()


def test_a_full_disk_under_sqlite_is_said_loses_nothing_and_heals_by_itself(
    tmp_path: Path, mosquitto: Mosquitto
):
    with medium(tmp_path / "disk", octets=SQLITE_OCTETS) as disk:
        url = f"sqlite:///{disk.folder}/drumkeep.db"
        with company(
            tmp_path, url=url, door=mosquitto, sites=["north"], roles="web,ingest,schedule"
        ) as everyone:
            see_it_through(everyone, disk)


@pytest.mark.postgres
def test_a_full_disk_under_postgresql_is_said_loses_nothing_and_heals_by_itself(
    tmp_path: Path, mosquitto: Mosquitto
):
    with (
        running_postgres() as cluster,
        medium(cluster.folder / "small", octets=POSTGRES_OCTETS) as disk,
    ):
        url = cluster.url(cluster.create_on(disk.folder))
        with company(
            tmp_path, url=url, door=mosquitto, sites=["north"], roles="web,ingest,schedule"
        ) as everyone:
            see_it_through(everyone, disk)


def see_it_through(everyone: Company, disk: Medium) -> None:
    """Fill the disk under a company at work, look around, and make room again."""
    service, gateway = everyone.service, everyone.gateways["north"]
    everyone.start()
    with everyone.client() as client:
        wait_until(service.answers, "the service is ready")
        disk.fill()
        wait_until(lambda: client.get("/ready").status_code == 503, "it says that it is not ready")
        begun = gateway.notes.count()
        for page in PAGES:
            answer = client.get(page)
            assert answer.status_code == 200, (page, answer.text)
            assert page.startswith("/api") or WORDS in answer.text, page
        assert client.get("/ready").json()["title"].startswith(WORDS)
        tried = client.post("/api/v1/sites", json=NEW)
        time.sleep(FULL_S)
        wait_until(lambda: gateway.notes.waiting() >= MANY, "readings wait at the gateway")
        wait_until(lambda: gateway.notes.count() > begun, "the gateway goes on reading")
        assert service.alive
        disk.clear()
        wait_until(service.answers, "it is ready again")
        assert WORDS not in client.get("/floor").text
        check_each_once(everyone.settle(), at_least=40)
        sites = client.get("/api/v1/sites").json()["items"]
    # A little may still find room: what was acknowledged is there, and what was not is not.
    assert tried.status_code in {201, 503}, tried.text
    assert (tried.status_code == 201) == ("new" in [site["code"] for site in sites])
    assert tried.status_code == 201 or tried.json()["title"].startswith(WORDS)
    assert "Traceback" not in service.told(), service.told()
