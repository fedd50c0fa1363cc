"""Power fails while a commit is under way: until it is done nobody is told that it is.

Neither the broker, which would forget the messages, nor the gateway, which would forget the
readings. Kills at random moments (``test_killed.py``) hardly ever find these milliseconds, and what
one end forgets the other sends again; here a gate holds the commit back, and both ends are struck.
"""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from paho.mqtt.client import Client

from tests.end_to_end.ingest_runs import publish, publisher, wait_for_session
from tests.fixtures.broker import Mosquitto, running_mosquitto
from tests.fixtures.company import CODE, Company, check_each_once, company, sensors_of
from tests.fixtures.gate import Gate, gate_before
from tests.fixtures.ledger import stored
from tests.fixtures.postgres import Postgres
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.postgres, pytest.mark.broker, pytest.mark.slow, pytest.mark.timeout(180)]

LONG_ENOUGH_S: Final = 0.5
"""For what must not be said to arrive, if it were said."""
MANY: Final = 5
"""Messages: numbers are given from 1 in each session, and the one of before has fewer."""
WAITING: Final = 20


class Device:
    """One that keeps nothing: what the broker takes from it must be stored."""

    def __init__(self, client: Client, site: str) -> None:
        self._client = client
        self._topic = f"drumkeep/v1/{site}/{CODE}/readings"
        self._name = next(name for name, (kind, _) in sensors_of(site).items() if kind == "temp")
        self.sent: list[tuple[str, int, float]] = []

    def send(self, count: int = 1) -> None:
        """Send readings, one a message."""
        for _ in range(count):
            time.sleep(0.002)  # so that each has a time of its own
            ms = int(time.time() * 1000)  # noqa: TID251 - what the service holds them against
            value = len(self.sent) / 2
            record = {"n": self._name, "u": "Cel", "v": value, "t": ms / 1000}
            publish(self._client, self._topic, [record])
            self.sent.append((self._name, ms, value))


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """Give one that forgets all when it is killed."""
    with running_mosquitto(tmp_path / "broker", persistent=False) as broker:
        yield broker


@pytest.fixture
def everyone(tmp_path: Path, broker: Mosquitto, postgres: Postgres) -> Iterator[Company]:
    with company(tmp_path, url=postgres.url(postgres.create()), door=broker) as everyone:
        yield everyone


@pytest.fixture
def gate(everyone: Company) -> Iterator[Gate]:
    with gate_before(everyone.url) as gate:
        yield gate


def test_neither_broker_nor_gateway_is_told_of_a_commit_that_is_not_done(
    everyone: Company, broker: Mosquitto, gate: Gate
):
    everyone.service.start()
    wait_for_session(broker)
    with publisher(broker) as client:
        device = Device(client, "south")
        gate.shut()
        device.send()
        gate.wait_for_somebody()  # in a session that is about to be lost
        broker.kill()
        broker.start()
        wait_for_session(broker, times=2)
        wait_until(client.is_connected, "the device has come back")
        device.send(MANY)
        gate.let_one_pass()
        gate.wait_for_somebody()  # the first is acknowledged now, by a number of the lost session
        time.sleep(LONG_ENOUGH_S)
        everyone.service.kill()
        gate.send_away()
        everyone.service.start()
        wait_until(
            lambda: not set(device.sent) - set(stored(everyone.url)), "what a device sent is stored"
        )

    everyone.gateways["north"].start()
    everyone.wait_for_more("north")
    gate.shut()
    gate.wait_for_somebody()
    some = everyone.gateways["north"].notes
    kept = some.count()
    wait_until(lambda: some.waiting() >= WAITING, "readings of gateways wait")
    time.sleep(LONG_ENOUGH_S)
    everyone.service.kill()
    gate.send_away()
    broker.kill()  # with all that it had acknowledged to the gateways
    broker.start()
    check_each_once(everyone.settle("north"), at_least=kept)
    assert everyone.count("reject") == 0
    assert "Traceback" not in everyone.service.told(), everyone.service.told()
