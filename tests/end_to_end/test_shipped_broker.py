"""Mosquitto as deploy/mosquitto sets it up: who gets in, and to what. Its own clients try."""

import base64
import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread

import pytest

from drumkeep.notify.broker_access import hashed
from drumkeep.operations.foreign import ForeignMap
from drumkeep.operations.foreign_mappings import create_mapping
from drumkeep.operations.sparkplug_groups import create_group
from drumkeep.storage.transaction import transaction
from tests.end_to_end.ingest_runs import wait_until
from tests.fixtures.shipped_broker import (
    PATIENCE_S,
    SENSOR,
    SERVICE_PASSWORD,
    Yard,
    run,
    shipped,
    tried,
)

pytestmark = pytest.mark.broker

READINGS = "drumkeep/v1/north/gw-1/readings"
COMMITTED = "drumkeep/v1/north/gw-1/committed"
NOT_ALLOWED = "Not authorized"


@pytest.fixture
def yard(tmp_path) -> Iterator[Yard]:
    with shipped(tmp_path) as found:
        yield found


def publish(door, topic, message, *, version="5"):
    return tried("mosquitto_pub", *door, "-V", version, "-q", "1", "-t", topic, "-m", message)


@contextmanager
def listening(yard, door, *topics, hears, more=()) -> Iterator[list[str]]:
    """Have mosquitto_sub listen; the list holds what it heard once the block has ended.

    Parameters
    ----------
    hears
        How many messages are waited for.
    """
    heard: list[str] = []
    before = yard.broker.log().count("Sending SUBACK")
    command = ["mosquitto_sub", *door, "-V", "5", "-q", "1", "-v", *more]
    for topic in topics:
        command += ["-t", topic]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    lines = (line.rstrip("\n") for line in process.stdout)
    reader = Thread(target=heard.extend, args=(lines,))
    reader.start()
    try:
        wait_until(lambda: yard.broker.log().count("Sending SUBACK") > before, "it subscribes")
        yield heard
        wait_until(lambda: len(heard) >= hears, f"it hears {hears}", within_s=PATIENCE_S)
        time.sleep(0.3)  # what comes though it must not, comes by now
    finally:
        process.terminate()
        reader.join()
        process.stdout.close()
        process.wait()


@contextmanager
def ingesting(yard) -> Iterator[None]:
    """Run the service's ingest, as an operator sets it up."""
    before = yard.broker.log().count("Sending SUBACK to drumkeep-ingest")
    process = subprocess.Popen(
        [sys.executable, "-m", "drumkeep", "serve", "--only", "ingest"],
        env=yard.environment(),
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_until(
            lambda: yard.broker.log().count("Sending SUBACK to drumkeep-ingest") > before,
            "ingest subscribes",
        )
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        sys.stderr.write(process.communicate(timeout=30)[1])


def stored(yard):
    with yard.engine.connect() as connection:
        return list(connection.exec_driver_sql("SELECT value FROM reading").scalars())


def service_door(yard):
    return yard.broker.door("drumkeep", SERVICE_PASSWORD, port=yard.broker.service_port)


def test_a_reading_goes_by_tls_to_the_service_and_its_commit_comes_back(yard):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))
    pack = [
        {"n": "urn:dev:os:32473-gw-1:spool:00c0ffee", "u": "count", "v": 1},
        {"n": SENSOR, "u": "Cel", "v": 20.5},
    ]
    with ingesting(yard):
        assert publish(door, READINGS, json.dumps(pack)).stderr == ""
        told = run("mosquitto_sub", *door, "-C", "1", "-W", "30", "-t", COMMITTED)

    assert json.loads(told.stdout) == {"spool": "00c0ffee", "upto": 1}
    assert stored(yard) == [20.5]


def test_a_device_that_speaks_another_json_is_read_once_its_mapping_is_kept(yard):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))
    topic = "sensors/loft/state"
    assert NOT_ALLOWED in publish(door, topic, '{"f": 50}').stderr
    acl = yard.broker.root / "etc/mosquitto/drumkeep-service.acl"
    acl.write_text(acl.read_text() + "topic read sensors/#\n")  # as its first lines say
    yard.broker.stop()
    yard.broker.start()

    with ingesting(yard):
        with transaction(yard.engine) as tx:
            mapping = ForeignMap(
                topic="sensors/+/state", name=f"'{SENSOR}'", value="item.f", unit="'F'"
            )
            create_mapping(
                tx, code="loft", gateway="north/gw-1", mapping=mapping, root="drumkeep/v1"
            )
        yard.write()
        wait_until(lambda: "sensors/+/state (QoS 1)" in yard.broker.log(), "it subscribes")
        assert publish(door, topic, '{"f": 77}').stderr == ""
        assert NOT_ALLOWED in publish(door, "sensors/loft", '{"f": 50}').stderr
        wait_until(lambda: stored(yard) != [], "it is stored")

    assert stored(yard) == [pytest.approx(25.0)]


def test_an_edge_node_of_sparkplug_writes_its_group_and_hears_its_births_asked_for(yard):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))
    acl = yard.broker.root / "etc/mosquitto/drumkeep-service.acl"
    # as deploy/mosquitto/README.md says
    acl.write_text(acl.read_text() + "topic read spBv1.0/#\ntopic write spBv1.0/+/NCMD/+\n")
    with transaction(yard.engine) as tx:
        create_group(tx, group="Shed 1", node="edge-1", gateway="north/gw-1")
    yard.broker.stop()
    yard.write()
    yard.broker.start()

    command = "spBv1.0/Shed 1/NCMD/edge-1"
    with ingesting(yard):
        wait_until(lambda: "spBv1.0/Shed 1/NDATA/edge-1/# (QoS 1)" in yard.broker.log(), "it reads")
        assert NOT_ALLOWED in publish(door, "spBv1.0/Shed 1/NDATA/edge-2", "forged").stderr
        assert NOT_ALLOWED in publish(door, command, "forged").stderr
        assert publish(door, "spBv1.0/Shed 1/NDATA/edge-1", "").stderr == ""
        asked = rf"Received PUBLISH from drumkeep-ingest \(d0, q0, r0, m0, '{command}'"
        wait_until(lambda: re.search(asked, yard.broker.log()) is not None, "it is asked")
    with listening(yard, door, command, "spBv1.0/Shed 1/NCMD/edge-2", hears=1) as heard:
        for node in ("edge-1", "edge-2"):
            publish(service_door(yard), f"spBv1.0/Shed 1/NCMD/{node}", f"for {node}")
    assert heard == [f"{command} for edge-1"]


@pytest.mark.parametrize(
    "topic",
    [
        "drumkeep/v1/north/gw-2/readings",
        "drumkeep/v1/north/gw-2/presence",
        "drumkeep/v1/south/gw-1/readings",
        COMMITTED,
        "drumkeep/v1/north/alarms/1",
        "drumkeep/v1/north/gw-1/readings/more",
        "elsewhere",
        "$SYS/broker/uptime",
    ],
)
def test_a_gateway_writes_no_topic_but_its_own(yard, topic):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))

    with listening(yard, service_door(yard), "drumkeep/#", "elsewhere", hears=1) as heard:
        assert NOT_ALLOWED in publish(door, topic, "forged").stderr
        assert publish(door, READINGS, "mine").stderr == ""

    assert [line for line in heard if "forged" in line] == []
    assert f"{READINGS} mine" in heard


def test_a_gateway_hears_its_own_committed_and_nothing_else(yard):
    one = yard.broker.door("north/gw-1", yard.give("gw-1"))
    two = yard.broker.door("north/gw-2", yard.give("gw-2"))

    everything = ("#", COMMITTED, "drumkeep/v1/+/+/readings", "$SYS/#")
    with listening(yard, one, *everything, hears=1) as heard:
        publish(two, "drumkeep/v1/north/gw-2/readings", "of another")
        for code in ("gw-1", "gw-2"):
            publish(service_door(yard), f"drumkeep/v1/north/{code}/committed", f"for {code}")

    assert set(heard) == {f"{COMMITTED} for gw-1"}


def test_nobody_comes_in_without_the_right_password_or_by_anothers_door(yard):
    password = yard.give("gw-1")
    broker = yard.broker
    refused = [
        broker.door("north/gw-1", "wrong"),
        broker.door("north/gw-1", ""),
        broker.door("north/gw-2", password),
        broker.door("north/gw-1", password, port=broker.service_port),
        broker.door("drumkeep", SERVICE_PASSWORD),
        broker.door("drumkeep", "wrong", port=broker.service_port),
        broker.door("", "")[:-4],
    ]

    for door in refused:
        answer = publish(door, READINGS, "forged", version="311")
        assert answer.returncode == 5, (door, answer.stderr)  # MQTT 3.1.1, 3.2.2.3: not authorized

    assert publish(broker.door("north/gw-1", password), READINGS, "mine").returncode == 0


@pytest.mark.parametrize("door", ["port", "service_port"])
def test_plain_text_to_a_door_of_tls_fails(yard, door):
    plain = ["-h", "127.0.0.1", "-p", str(getattr(yard.broker, door))]
    answer = publish([*plain, "-u", "north/gw-1", "-P", yard.give("gw-1")], READINGS, "plain")

    assert answer.returncode != 0
    assert "Received PUBLISH" not in yard.broker.log()


def test_a_client_that_does_not_know_our_authority_does_not_trust_the_broker(yard):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))
    door[1] = "/etc/ssl/certs/ca-certificates.crt"

    assert publish(door, READINGS, "mine").returncode != 0
    assert "Received PUBLISH" not in yard.broker.log()


def test_a_gateway_revoked_in_mid_session_is_cut_off_and_others_are_not(yard):
    one = yard.broker.door("north/gw-1", yard.give("gw-1"))
    two = yard.broker.door("north/gw-2", yard.give("gw-2"))
    before = yard.broker.log().count("Sending SUBACK")
    listener = subprocess.Popen(
        ["mosquitto_sub", *one, "-V", "5", "-q", "1", "-t", COMMITTED],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_until(lambda: yard.broker.log().count("Sending SUBACK") > before, "it listens")

    topic = COMMITTED.replace("gw-1", "gw-2")
    with listening(yard, two, topic, hears=1) as heard:
        yard.revoke("gw-1")
        _, said = listener.communicate(timeout=PATIENCE_S)  # it ends by itself: it may not return
        publish(service_door(yard), topic, "still here")

    assert NOT_ALLOWED in said
    assert publish(one, READINGS, "forged", version="311").returncode == 5
    assert heard == [f"{topic} still here"]
    assert yard.broker.log().count("New client connected") == 3  # nobody else had to come again


def test_a_new_password_takes_the_place_of_the_old(yard):
    old = yard.broker.door("north/gw-1", yard.give("gw-1"))
    new = yard.broker.door("north/gw-1", yard.give("gw-1"))

    assert publish(new, READINGS, "mine").returncode == 0
    assert publish(old, READINGS, "forged").returncode != 0


def test_a_gateway_that_calls_itself_the_service_does_not_take_over_its_session(yard):
    door = yard.broker.door("north/gw-1", yard.give("gw-1"))
    session = ["-c", "-i", "drumkeep-ingest", "-x", "3600"]
    door_of_service, topics = service_door(yard), "drumkeep/v1/+/+/readings"
    with listening(yard, door_of_service, topics, hears=0, more=session):
        pass
    publish(door, READINGS, "while away")

    tried("mosquitto_sub", *door, *session, "-V", "5", "-W", "1", "-t", COMMITTED)

    yard.broker.stop()
    yard.broker.start()
    with listening(yard, door_of_service, topics, hears=1, more=session) as heard:
        pass
    assert heard == [f"{READINGS} while away"]


def test_with_no_credential_given_nobody_comes_in(yard):
    assert (yard.broker.folder / "passwords").read_text() == ""

    for who in ("north/gw-1", "drumkeep", "#"):
        door = yard.broker.door(who, "anything")
        assert publish(door, READINGS, "forged", version="311").returncode == 5


def test_passwords_are_kept_as_mosquitto_itself_keeps_them(tmp_path):
    path = tmp_path / "passwords"
    run("mosquitto_passwd", "-b", "-c", str(path), "north/gw-1", "seven green ladders")
    theirs = path.read_text().strip().removeprefix("north/gw-1:")
    salt = theirs.split("$")[3]

    assert hashed("seven green ladders", salt=base64.b64decode(salt)) == theirs


def test_files_that_say_what_the_database_says_are_left_alone(yard):
    yard.give("gw-1")
    loads = yard.broker.loads()

    assert not yard.write()

    assert yard.broker.loads() == loads
    assert (yard.broker.folder / "passwords").stat().st_mode & 0o777 == 0o640


def test_a_pid_that_is_another_programs_by_now_is_not_signalled(yard):
    bystander = subprocess.Popen(["sleep", "60"])
    yard.broker.stop()
    yard.broker.pid_file.write_text(f"{bystander.pid}\n")

    yard.give("gw-1")

    assert bystander.poll() is None
    bystander.kill()
    bystander.wait()
