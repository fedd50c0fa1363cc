"""Sparkplug B through a real Mosquitto: births outlive a restart, deaths are told, births asked."""

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from drumkeep.operations.sensors import NewMount
from drumkeep.operations.sparkplug_groups import create_group
from drumkeep.operations.strays import adopt_stray
from drumkeep.storage import catalogue, strays
from drumkeep.storage.transaction import reading, transaction
from tests.builders.sparkplug import metric, payload
from tests.end_to_end.ingest_runs import (
    count,
    ingest,
    publish,
    publisher,
    session,
    wait_until,
)
from tests.fixtures.broker import Mosquitto
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
FLOAT = 9
NODE = "spBv1.0/Shed/{}/edge-1"
NAME = f"{Shed.urn}:edge-1//Temp"
MS = int(time.time() * 1000)  # noqa: TID251 - readings must be recent to be taken


def bd_seq(number=3):
    return metric("bdSeq", number, datatype=4, time_ms=MS)


def birth(value):
    temperature = metric("Temp", value, datatype=FLOAT, time_ms=MS, alias=7, engUnit="°F")
    return payload(MS, bd_seq(), temperature, seq=0)


def data(value, *, seq, alias=7):
    temperature = metric(None, value, alias=alias, time_ms=MS - 1000 * seq, historical=True)
    return payload(MS, temperature, seq=seq)


@contextmanager
def edge_node(broker: Mosquitto) -> Iterator[tuple[Client, list[bytes]]]:
    """Give a client whose last will is its death, and the commands that it hears."""
    commands: list[bytes] = []
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    client.on_message = lambda _client, _data, message: commands.append(bytes(message.payload))
    client.will_set(NODE.format("NDEATH"), payload(None, bd_seq()), qos=1)
    client.connect(broker.host, broker.port, keepalive=5)
    client.subscribe(NODE.format("NCMD"), qos=1)
    client.loop_start()
    try:
        yield client, commands
    finally:
        client.disconnect()
        client.loop_stop()


def values(shed):
    with shed.engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT value FROM reading ORDER BY ts DESC")
        return [round(value, 6) for (value,) in found]


def online(shed):
    with reading(shed.engine) as tx:
        gateway = catalogue.gateway_by_code(tx, site=Shed.site, code=Shed.gateway)
        return gateway is not None and gateway.online


@pytest.mark.timeout(120)
def test_births_are_known_after_a_kill_and_a_stray_is_adopted_with_its_history(
    shed: Shed, mosquitto: Mosquitto
):
    with transaction(shed.engine) as tx:
        create_group(tx, group="Shed", gateway="north/attic")
    with edge_node(mosquitto) as (client, commands):
        with ingest(shed, mosquitto) as process:
            wait_until(lambda: "spBv1.0/Shed/NDATA/#" in mosquitto.log(), "it subscribes")
            publish(client, NODE.format("NBIRTH"), birth(68.0))
            wait_until(lambda: count(shed, "stray_reading") == 1, "the birth's value is kept")
            assert online(shed)
            process.kill()
        publish(client, NODE.format("NDATA"), data(77.0, seq=1))
        with ingest(shed, mosquitto) as process:
            wait_until(lambda: count(shed, "stray_reading") == 2, "what waited is kept")
            with transaction(shed.engine) as tx:
                (row,) = strays.list_strays(tx)
                assert row.name == NAME
                mount = NewMount(what="air", place="north/hall")
                adopt_stray(tx, stray_id=row.id, mount=mount, now=row.last_heard_at)
            publish(client, NODE.format("NDATA"), data(50.0, seq=2))
            wait_until(lambda: values(shed) == [20.0, 25.0, 10.0], "it counts as a sensor")
            assert commands == []

            publish(client, NODE.format("NDATA"), data(50.0, seq=3, alias=8))
            wait_until(lambda: len(commands) == 1, "its births are asked for")
            assert b"Node Control/Rebirth" in commands[0]

            assert client.socket() is not None
            client.socket().close()  # type: ignore[union-attr]  # a cut line, not a farewell
            wait_until(lambda: not online(shed), "the gateway is not there")
            told = process.stop()
    assert "Traceback" not in told


def test_hostile_octets_on_sparkplug_topics_stop_nothing(shed: Shed, mosquitto: Mosquitto):
    with transaction(shed.engine) as tx:
        create_group(tx, group="Shed", gateway="north/attic")
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_until(lambda: "spBv1.0/Shed/NDATA/#" in mosquitto.log(), "it subscribes")
        for octets in (
            b"",
            b"\xff" * 40,
            b"\x12\x00" * 500_000,
            birth(68.0)[:-3],
            payload(2**64 - 1, metric("a\0b", 1.0, time_ms=2**64 - 1, alias=2**64 - 1), seq=2**63),
            b" " * (2**20 + 1),
        ):
            for kind in ("NBIRTH", "NDATA", "NDEATH"):
                publish(client, NODE.format(kind), octets)
        publish(client, f"spBv1.0/Shed/DDATA/{'x' * 500}/💥", birth(1.0))
        publish(client, NODE.format("NBIRTH"), birth(68.0))

        wait_until(lambda: count(shed, "stray_reading") >= 1, "the last one is kept")
        assert process.alive
        assert "Traceback" not in process.stop()
    assert count(shed, "reject") >= 6


def test_a_mapping_deleted_while_ingest_is_away_is_given_up_at_the_broker(
    shed: Shed, mosquitto: Mosquitto
):
    with transaction(shed.engine) as tx:
        group = create_group(tx, group="Shed", gateway="north/attic")
    with session(shed, mosquitto):
        wait_until(lambda: count(shed, "subscription") == len(group.messages), "it is on record")
        wait_until(lambda: "spBv1.0/Shed/NDATA/#" in mosquitto.log(), "it subscribes")
    with shed.engine.begin() as connection:
        for table in ("metric", "node", "group"):
            connection.exec_driver_sql(f"DELETE FROM sparkplug_{table}")  # noqa: S608

    with session(shed, mosquitto), publisher(mosquitto) as client:
        wait_until(lambda: count(shed, "subscription") == 0, "the broker has given them up")
        publish(client, NODE.format("NBIRTH"), birth(68.0))
        pack = [{"n": Shed.air_name, "u": "Cel", "v": 20}]
        publish(client, "drumkeep/v1/north/attic/readings", json.dumps(pack).encode())
        wait_until(lambda: count(shed, "reading") == 1, "what came after it is stored")
    sent = [line for line in mosquitto.log().splitlines() if "Sending PUBLISH" in line]
    assert len(sent) >= 1
    assert not any("spBv1.0" in line for line in sent)
