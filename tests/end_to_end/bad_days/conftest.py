"""A company at work on PostgreSQL, whose service runs whole and is never started again.

The tests that share it open a site each, strike, and leave it as they found it: working.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from tests.fixtures.broker import Mosquitto, running_mosquitto
from tests.fixtures.company import Company, company
from tests.fixtures.line import Line, line_to
from tests.fixtures.postgres import Postgres, running_postgres
from tests.fixtures.process import wait_until


@dataclass(frozen=True)
class Headquarters:
    """The company, what it stands on, and the service's line to its broker."""

    everyone: Company
    broker: Mosquitto
    cluster: Postgres
    line: Line


@pytest.fixture(scope="package")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Headquarters]:
    """Give the company that the tests share."""
    folder = tmp_path_factory.mktemp("headquarters")
    with (
        running_postgres(durable=True) as cluster,
        running_mosquitto(folder / "broker") as broker,
        line_to(broker) as line,
        company(
            folder,
            url=cluster.url(cluster.create()),
            door=line,
            sites=(),
            roles="web,ingest,schedule",
        ) as everyone,
    ):
        everyone.service.start()
        yield Headquarters(everyone, broker, cluster, line)


@pytest.fixture
def headquarters(standing: Headquarters) -> Iterator[Headquarters]:
    """Give it at work, and see afterwards that it still is, in the process that it was."""
    everyone = standing.everyone
    wait_until(everyone.service.answers, "the service is ready")
    yield standing
    for gateway in everyone.gateways.values():
        gateway.kill()
    everyone.gateways.clear()
    assert everyone.service.alive, everyone.service.told()
    assert "Traceback" not in everyone.service.told(), everyone.service.told()
