"""The gateway's own program against the broker as deploy/mosquitto sets it up."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.end_to_end.gateway_runs import gateway, kept_ever, stop, waiting
from tests.end_to_end.ingest_runs import wait_until
from tests.fixtures.shipped_broker import SENSOR, Yard, shipped

pytestmark = pytest.mark.broker


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    with shipped(tmp_path) as found:
        yield found


@contextmanager
def ingesting(yard: Yard) -> Iterator[None]:
    before = yard.broker.log().count("Sending SUBACK to drumkeep-ingest")
    process = subprocess.Popen(
        [sys.executable, "-m", "drumkeep", "serve", "--only", "ingest"], env=yard.environment()
    )
    try:
        wait_until(
            lambda: yard.broker.log().count("Sending SUBACK to drumkeep-ingest") > before,
            "ingest subscribes",
        )
        yield
    finally:
        process.terminate()
        process.wait(30)


def configuration(yard: Yard, folder: Path) -> Path:
    file = folder / "gateway.toml"
    file.write_text(
        f"""
        [gateway]
        site = "north"
        code = "gw-1"
        urn = "urn:dev:os:32473-gw-1"
        state = "state"
        interval_s = 0.2
        [broker]
        host = "localhost"
        port = {yard.broker.port}
        username = "north/gw-1"
        password_file = "password"
        [broker.tls]
        ca = "{yard.broker.ca_file}"
        [clock]
        trust = "always"
        [[sensors]]
        driver = "simulation"
        mean = 20.0
        unit = "Cel"
        name = "{SENSOR}"
        """
    )
    return file


def stored(yard: Yard) -> int:
    with yard.engine.connect() as connection:
        return int(connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one())


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_a_gateway_whose_password_is_taken_away_keeps_its_readings_until_it_has_a_new_one(
    yard: Yard, tmp_path: Path
):
    file, state = configuration(yard, tmp_path), tmp_path / "state"
    (tmp_path / "password").write_text(yard.give("gw-1"))
    with ingesting(yard):
        with gateway(file) as process:
            wait_until(lambda: stored(yard) >= 5, "readings are stored")
            assert "Traceback" not in stop(process)
        yard.revoke("gw-1")
        before = stored(yard)
        with gateway(file) as process:
            wait_until(lambda: waiting(state) >= 10, "readings wait")
            told = stop(process)
        assert "The broker refused us" in told
        assert stored(yard) == before

        (tmp_path / "password").write_text(yard.give("gw-1"))
        with gateway(file) as process:
            wait_until(lambda: waiting(state) <= 5, "the spool empties")
            stop(process)
        assert kept_ever(state) - waiting(state) <= stored(yard) <= kept_ever(state)
