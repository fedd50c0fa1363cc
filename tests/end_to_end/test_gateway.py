"""A gateway with sensors over a real Mosquitto into the database, counted at both ends."""

import shutil
import sqlite3
import subprocess
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drumkeep.domain.devices import LOW_PERCENT
from drumkeep.operations.alarm_inputs import batteries_now
from drumkeep.operations.devices import device_sayings
from drumkeep.operations.strays import adopt_stray
from drumkeep.storage import strays
from drumkeep.storage.transaction import reading, transaction
from drumkeep.web.views.devices import device_views
from drumkeep_sensors.clock import synchronised
from drumkeep_wire.presence import Presence, decode_presence
from tests.end_to_end.gateway_runs import (
    ask,
    configuration,
    gateway,
    kept_ever,
    stop,
    waiting,
)
from tests.end_to_end.ingest_runs import count, ingest, wait_for_session, wait_until
from tests.fixtures.broker import Mosquitto
from tests.fixtures.ports import free_port
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

THERMOMETER = (
    '[[sensors]]\ndriver = "one-wire"\ndevice = "10-0008013a07e2"\n'  # the shed's air_name
)
SCRATCHPAD = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
SAID = "10e2073a01080063:temp: no reading: power-on value 85 °C"
POWER_ON = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"


def damp(value: float) -> str:
    return (
        f'[[sensors]]\ndriver = "simulation"\nmean = {value}\nswing = 5.0\nperiod_s = 60.0\n'
        'unit = "%RH"\nname = "urn:dev:ow:10e2073a01080063:damp"\n'
    )


def thermometer(folder: Path) -> Path:
    bus = folder / "sys" / "bus" / "w1" / "devices" / "10-0008013a07e2"
    bus.mkdir(parents=True)
    (bus / "w1_slave").write_text(SCRATCHPAD)
    return bus / "w1_slave"


def stored(shed: Shed) -> list[tuple[float, ...]]:
    database = Path(shed.url.removeprefix("sqlite:///"))
    return ask(database, "SELECT sensor_id, ts, value FROM reading ORDER BY ts")


def wall_ms() -> float:
    """What the gateway's readings are held against, epoch milliseconds."""
    return time.time() * 1000  # noqa: TID251 - the gateway reads the same clock


def retained(broker: Mosquitto, kind: str) -> bytes:
    command = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-C", "1", "-W", "30"]
    topic = f"drumkeep/v1/north/attic/{kind}"
    return subprocess.run([*command, "-t", topic], check=True, capture_output=True).stdout


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_what_a_thermometer_says_is_stored_and_its_power_on_value_is_not(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    file = configuration(tmp_path, shed, mosquitto, sensors=THERMOMETER + damp(40))
    slave = thermometer(tmp_path)
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file) as process:
            wait_until(lambda: len(stored(shed)) >= 10, "readings are stored")
            assert decode_presence(retained(mosquitto, "presence")).state == "online"
            slave.write_text(POWER_ON)
            wait_until(lambda: SAID in process.told(), "it says that it reads none")
            told = stop(process)
        assert decode_presence(retained(mosquitto, "presence")).state == "offline"

    air = [value for sensor, _, value in stored(shed) if sensor == shed.air]
    assert 85.0 not in air
    assert 23.125 in air
    assert "Traceback" not in told
    assert count(shed, "reject") == 0


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_what_a_board_says_of_itself_is_adopted_and_shown_with_its_gateway(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    supply = tmp_path / "sys" / "class" / "power_supply" / "cell"
    supply.mkdir(parents=True)
    (supply / "capacity").write_text("14\n")
    (supply / "voltage_now").write_text("3987000\n")
    cell = '[[sensors]]\ndriver = "battery"\nsupply = "cell"\n'
    sensors = f'{cell}name = "battery"\n{cell}name = "supply"\nwhat = "voltage"\n'
    file = configuration(tmp_path, shed, mosquitto, sensors=sensors)
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file) as process:
            wait_until(lambda: count(shed, "stray") == 2, "both are kept aside")
            now = datetime.now(UTC)  # noqa: TID251 - the gateway reads the same clock
            with transaction(shed.engine) as tx:
                for stray in strays.list_strays(tx):
                    adopt_stray(tx, stray_id=stray.id, mount=None, now=now)
            before = len(stored(shed))
            wait_until(lambda: len(stored(shed)) > before + 4, "they are stored from then on")
            stop(process)
    with reading(shed.engine) as tx:
        shown = device_views(tx, device_sayings(tx), now=datetime.now(UTC))  # noqa: TID251
        (alarm,) = [f for f in batteries_now(tx) if f.percent <= LOW_PERCENT]

    said = [(view.noun, view.last, view.low) for view in shown.of_gateway[shed.gateway_id]]
    assert sorted(said) == [("Battery", "14 %", "low"), ("Voltage", "3.99 V", None)]
    assert alarm.bearer == "gateway attic"
    assert count(shed, "reject") <= 2  # as unregistered, before they were adopted


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_a_medium_that_takes_its_time_holds_up_no_reading(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    file = configuration(tmp_path, shed, mosquitto, sensors=damp(40))
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        with gateway(file) as process:
            wait_until(lambda: len(stored(shed)) >= 3, "readings are stored")
            spool = tmp_path / "state" / "readings.db"
            with closing(sqlite3.connect(spool, timeout=10, isolation_level=None)) as other:
                other.execute("BEGIN IMMEDIATE")  # nothing can be written while this lasts
                begun = wall_ms()
                time.sleep(2)
                ended = wall_ms()
                other.execute("ROLLBACK")
            wait_until(
                lambda: sum(begun < ts <= ended for _, ts, _ in stored(shed)) >= 8,
                "what was read meanwhile is stored",
            )
            stop(process)


@pytest.mark.slow
def test_the_line_is_encrypted_and_both_ends_prove_who_they_are(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    keys = tmp_path / "keys"
    keys.mkdir()
    authority(keys)
    port = listen_with_tls(mosquitto, keys)
    more = '[broker.tls]\nca = "keys/ca.pem"\n'
    own = 'certificate = "keys/g.pem"\nkey = "keys/g.key"\n'
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        plain = configuration(tmp_path, shed, mosquitto, sensors=damp(40), port=port)
        told = turned_away(plain, lambda _: "wrong version number" in mosquitto.log())
        assert stored(shed) == []
        anonymous = configuration(tmp_path, shed, mosquitto, sensors=damp(40), more=more, port=port)
        told += turned_away(
            anonymous, lambda _: "peer did not return a certificate" in mosquitto.log()
        )
        assert stored(shed) == []
        file = configuration(
            tmp_path, shed, mosquitto, sensors=damp(40), more=more + own, port=port
        )
        with gateway(file) as process:
            wait_until(lambda: len(stored(shed)) >= 3, "readings are stored")
            stop(process)
    assert "Traceback" not in told


def listen_with_tls(broker: Mosquitto, keys: Path) -> int:
    """Have it listen on a second port, for clients with a certificate only."""
    port = free_port()
    with broker._configuration.open("a") as configuration_file:
        configuration_file.write(
            f"listener {port} {broker.host}\ncafile {keys}/ca.pem\ncertfile {keys}/b.pem\n"
            f"keyfile {keys}/b.key\nrequire_certificate true\nuse_identity_as_username true\n"
        )
    broker.stop()
    broker.start()
    return port


def turned_away(file: Path, was_seen: Callable[[str], bool]) -> str:
    """Run a gateway until the broker was seen not to let it in, and return all it said."""
    with gateway(file) as process:
        wait_until(lambda: was_seen(process.told()), "it is turned away")
        return stop(process)


def authority(folder: Path) -> None:
    """Make an authority, and with it certificates for the broker and the gateway."""

    def openssl(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=folder, check=True, capture_output=True)

    new = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2")
    openssl("req", "-x509", *new, "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=authority")
    for name, subject, more in (
        ("b", "/CN=127.0.0.1", ["-addext", "subjectAltName=IP:127.0.0.1"]),
        ("g", "/CN=north-attic", []),
    ):
        openssl(
            *("req", *new[:-2], "-keyout", f"{name}.key", "-out", f"{name}.csr"),
            *("-subj", subject, *more),
        )
        openssl(
            *("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key"),
            *("-CAcreateserial", "-days", "2", "-copy_extensions", "copy", "-out", f"{name}.pem"),
        )


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_readings_wait_for_the_time_and_keep_when_they_were_taken(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    if synchronised():
        pytest.skip("this machine's clock is synchronised, so readings never wait")
    file = configuration(tmp_path, shed, mosquitto, sensors=damp(40))
    believing = file.read_text()
    file.write_text(believing.replace('trust = "always"', 'trust = "ntp"'))
    state = tmp_path / "state"
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        begun = wall_ms()
        with gateway(file) as process:
            wait_until(lambda: kept_ever(state) >= 5, "it samples")
            process.kill()
        ended = wall_ms()
        early = kept_ever(state)
        assert waiting(state) == early
        assert stored(shed) == []
        file.write_text(believing)
        with gateway(file) as process:
            wait_until(lambda: len(stored(shed)) > early, "all is stored")
            stop(process)

    times = [ts for _, ts, _ in stored(shed)][:early]
    assert begun <= times[0] < times[-1] <= ended


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_a_wrong_password_is_refused_and_a_dead_gateway_is_told_by_its_last_will(
    shed: Shed, mosquitto: Mosquitto, tmp_path: Path
):
    words = tmp_path / "words"
    subprocess.run(["mosquitto_passwd", "-b", "-c", words, "attic", "right"], check=True)
    with mosquitto._configuration.open("a") as settings:
        settings.write(f"password_file {words}\n")  # who comes without a name may still come
    mosquitto.stop()
    mosquitto.start()
    more = 'username = "attic"\npassword_file = "password"\n'
    file = configuration(tmp_path, shed, mosquitto, sensors=damp(40), more=more)
    with ingest(shed, mosquitto):
        wait_for_session(mosquitto)
        (tmp_path / "password").write_text("wrong\n")
        told = turned_away(file, lambda told: "The broker refused us: Not authorized" in told)
        assert "wrong" not in told
        assert stored(shed) == []
        (tmp_path / "password").write_text("right\n")
        with gateway(file) as process:
            wait_until(lambda: len(stored(shed)) >= 3, "readings are stored")
            assert decode_presence(retained(mosquitto, "presence")).state == "online"
            process.kill()
        wait_until(
            lambda: decode_presence(retained(mosquitto, "presence")) == Presence("offline"),
            "the last will is told",
        )
