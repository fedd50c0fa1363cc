"""A gateway's password is taken away while it is connected, at the broker as we ship it."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from drumkeep.app import make_broker_files
from drumkeep.asgi.broker import bring_up_to_date
from drumkeep.operations.gateway_credentials import make_credential
from drumkeep.settings import Settings
from drumkeep.storage.transaction import transaction
from tests.fixtures.company import CODE, Company, Gateway, check_each_once
from tests.fixtures.process import wait_until
from tests.fixtures.programs import MOSQUITTO
from tests.fixtures.shipped_broker import SERVICE_PASSWORD, ShippedBroker

pytestmark = [pytest.mark.broker, pytest.mark.slow, pytest.mark.timeout(120)]

SETTLED_S: Final = 1.0
"""How long nothing more may come until all that was on its way is taken for stored."""


class Town:
    """Two sites whose gateways have passwords, a broker as shipped, and the service."""

    def __init__(self, folder: Path, broker: ShippedBroker) -> None:
        self.broker = broker
        self.everyone = Company(folder, url=f"sqlite:///{folder}/drumkeep.db", door=broker)
        service = self.everyone.service
        port = broker.service_port
        service.environment |= {
            "DRUMKEEP_MQTT_URL": (
                f"mqtts://drumkeep:{SERVICE_PASSWORD.replace(' ', '%20')}@127.0.0.1:{port}"
            ),
            "DRUMKEEP_MQTT_CA_FILE": str(broker.ca_file),
            "DRUMKEEP_BROKER_FOLDER": str(broker.folder),
            "DRUMKEEP_BROKER_PID_FILE": str(broker.pid_file),
        }
        self.settings = Settings(
            data_dir=folder, broker_folder=broker.folder, broker_pid_file=broker.pid_file
        )
        for site in ("north", "south"):
            gateway = self.everyone.open_site(site)
            gateway.settings = {
                "broker": {"username": f"{site}/{CODE}", "password_file": "password"},
                "broker.tls": {"ca": str(broker.ca_file)},
            }
            self.give(gateway)

    def revoke(self, site: str) -> None:
        """Take a gateway's password away, as an operator does."""
        subprocess.run(
            [sys.executable, "-m", "drumkeep", "gateway", "credential", site, CODE, "--revoke"],
            env=self.everyone.service.surroundings,
            check=True,
            capture_output=True,
        )

    def give(self, gateway: Gateway) -> None:
        """Give a gateway a password."""
        now = datetime.now(UTC)  # noqa: TID251 - the service reads it
        with transaction(self.everyone.engine) as tx:
            password = make_credential(tx, site=gateway.site, code=CODE, by=None, now=now)
        files = make_broker_files(self.settings)
        assert files is not None
        bring_up_to_date(files, self.everyone.engine)
        (gateway.folder / "password").write_text(f"{password}\n")


def what_it_settles_at(count: Callable[[], int]) -> int:
    """Wait until a count stays as it is, and return it."""
    before = -1
    while before != (before := count()):
        time.sleep(SETTLED_S)
    return before


@pytest.fixture
def town(tmp_path: Path) -> Iterator[Town]:
    program = MOSQUITTO.path()
    if program is None:
        pytest.skip(MOSQUITTO.reason())
    broker = ShippedBroker(program=program, directory=tmp_path / "broker")
    town = Town(tmp_path, broker)
    broker.start()
    try:
        yield town
    finally:
        town.everyone.end()
        broker.kill()


def test_its_session_ends_it_keeps_what_it_reads_and_goes_on_with_a_new_password(town: Town):
    everyone = town.everyone
    north, south = everyone.gateways["north"], everyone.gateways["south"]
    everyone.start()

    town.revoke("north")
    wait_until(
        lambda: "The broker refused us: Not authorized" in north.told(), "the gateway is told"
    )
    stuck = what_it_settles_at(lambda: everyone.stored("north"))
    kept = north.notes.count()
    wait_until(lambda: north.notes.waiting() >= 40, "what it reads waits")
    wait_until(lambda: north.notes.count() > kept, "it goes on reading")
    everyone.wait_for_more("south")
    assert everyone.stored("north") == stuck
    assert "lost" not in south.told()

    town.give(north)  # while it runs: it looks again whenever it is refused
    everyone.wait_for_more("north")
    assert north.alive
    check_each_once(everyone.settle(), at_least=80)
    for gateway in (north, south):
        assert "Traceback" not in gateway.told()
