"""A simulated gateway over a real Mosquitto into the database: nothing lost, nothing doubled."""

import json
import math
import sqlite3
import subprocess
import time
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest

from drumkeep_wire.committed import decode_committed
from drumkeep_wire.presence import decode_presence
from tests.end_to_end.gateway_runs import ask, gateway, stop, waiting
from tests.end_to_end.ingest_runs import count, ingest, wait_for_session, wait_until
from tests.fixtures.broker import Mosquitto
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

HOURS = 48
STEP_S = 300


def start_of_history() -> int:
    now = int(time.time())  # noqa: TID251 - the gateway publishes what is recent
    return now - now % STEP_S - HOURS * 3600


def scenario(
    shed: Shed, broker: Mosquitto, folder: Path, *, begins: int, live_interval_s: int = 60
) -> Path:
    hours = range(HOURS + 2)
    for name, value in (("temp", lambda h: 20 - h / 4), ("damp", lambda h: 40 + h / 2)):
        lines = [f"{begins + h * 3600},{value(h)}" for h in hours]
        (folder / f"{name}.csv").write_text("\n".join(lines))
    file = folder / "scenario.json"
    file.write_text(
        json.dumps(
            {
                "site": shed.site,
                "gateway": shed.gateway,
                "urn": shed.urn,
                "state": "state",
                "broker": {"host": broker.host, "port": broker.port},
                "sensors": [
                    {
                        "name": shed.air_name,
                        "unit": "Cel",
                        "points": "temp.csv",
                        "live_interval_s": live_interval_s,
                    },
                    {
                        "name": shed.damp_name,
                        "unit": "%RH",
                        "points": "damp.csv",
                        "silent_from": begins + 24 * 3600,
                    },
                ],
            }
        )
    )
    return file


def rows(shed: Shed, sensor_id: int) -> list[tuple[int, float]]:
    with closing(sqlite3.connect(shed.url.removeprefix("sqlite:///"))) as connection:
        return connection.execute(
            "SELECT ts, value FROM reading WHERE sensor_id = ? ORDER BY ts", (sensor_id,)
        ).fetchall()


def numbers(state: Path) -> tuple[str, int]:
    """Return what names the spool file, and the number of its next pack."""
    rows = ask(state / "readings.db", "SELECT file, next FROM state")
    file, following = rows[0] if rows else ("", 0)
    return str(file), int(following)


def retained(broker: Mosquitto, kind: str) -> bytes:
    """Ask for the retained message with Debian's own client."""
    topic = f"drumkeep/v1/north/attic/{kind}"
    command = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-t", topic]
    return subprocess.run([*command, "-C", "1", "-W", "30"], check=True, capture_output=True).stdout


def history(begins: int) -> list[tuple[int, float]]:
    """Every five minutes, on the straight line that the points lie on."""
    return [
        (1000 * (begins + step * STEP_S), 20 - step * STEP_S / 3600 / 4)
        for step in range(HOURS * 3600 // STEP_S + 1)
    ]


def is_history(found: list[tuple[int, float]], expected: list[tuple[int, float]]) -> bool:
    return [ts for ts, _ in found[: len(expected)]] == [ts for ts, _ in expected] and all(
        # The gateway sends thousandths.
        math.isclose(value, meant, abs_tol=0.0006)
        for (_, value), (_, meant) in zip(found, expected, strict=False)
    )


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_two_days_arrive_as_they_were_and_silence_stays_silent(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    begins = start_of_history()
    file = scenario(shed, mosquitto, tmp_path, begins=begins)
    expected = history(begins)
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file, command="simulate") as process:
            wait_until(lambda: len(rows(shed, shed.air)) >= len(expected), "history is stored")
            assert decode_presence(retained(mosquitto, "presence")).state == "online"
            wait_until(lambda: waiting(tmp_path / "state") == 0, "all is confirmed")
            told = stop(process)

        assert "Traceback" not in told
        assert decode_presence(retained(mosquitto, "presence")).state == "offline"
        committed = decode_committed(retained(mosquitto, "committed"))
        assert (committed.spool, committed.upto + 1) == numbers(tmp_path / "state")

    assert is_history(rows(shed, shed.air), expected)
    damp = rows(shed, shed.damp)
    assert damp[-1][0] == 1000 * (begins + 24 * 3600 - STEP_S)
    assert count(shed, "reject") == 0


def test_live_readings_come_at_their_interval(shed: Shed, mosquitto: Mosquitto, tmp_path: Path):
    begins = start_of_history()
    file = scenario(shed, mosquitto, tmp_path, begins=begins, live_interval_s=1)
    past = len(history(begins))
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file, command="simulate") as process:
            wait_until(lambda: len(rows(shed, shed.air)) >= past + 3, "live readings are stored")
            stop(process)

    live = [ts for ts, _ in rows(shed, shed.air)[past + 1 :]]
    assert [after - before for before, after in pairwise(live)] == [1000] * (len(live) - 1)


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_nothing_is_lost_when_gateway_broker_and_ingest_are_killed_in_turn(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    begins = start_of_history()
    file = scenario(shed, mosquitto, tmp_path, begins=begins)
    expected = history(begins)
    for round_ in range(4):
        with ingest(shed, mosquitto) as process, gateway(file, command="simulate"):
            time.sleep(0.4 + 0.2 * round_)
            # A broker killed so forgets what it acknowledged: its sessions are not saved yet.
            mosquitto.kill()
            mosquitto.start()
            time.sleep(0.3)
            process.kill()

    with ingest(shed, mosquitto), gateway(file, command="simulate"):
        wait_until(lambda: len(rows(shed, shed.air)) >= len(expected), "history is stored")
        wait_until(lambda: waiting(tmp_path / "state") == 0, "all is confirmed")

    assert is_history(rows(shed, shed.air), expected)
    times = [ts for ts, _ in rows(shed, shed.air)]
    assert len(times) == len(set(times))


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_a_restart_goes_on_with_the_same_spool_file(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    begins = start_of_history()
    file = scenario(shed, mosquitto, tmp_path, begins=begins)
    expected = history(begins)
    # Away from the broker: everything stays in the spool.
    mosquitto.stop()
    with gateway(file, command="simulate") as process:
        wait_until(lambda: numbers(tmp_path / "state")[1] > 5, "it is packed")
        stop(process)
    before, following = numbers(tmp_path / "state")
    mosquitto.start()

    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file, command="simulate") as process:
            wait_until(lambda: waiting(tmp_path / "state") == 0, "all is confirmed")
            stop(process)

    assert numbers(tmp_path / "state")[0] == before
    assert numbers(tmp_path / "state")[1] >= following
    assert is_history(rows(shed, shed.air), expected)
