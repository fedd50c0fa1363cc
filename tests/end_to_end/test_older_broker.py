"""Ingest at a broker that speaks MQTT 3.1.1 only."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from drumkeep.ingest.address import CLIENT_ID
from drumkeep.notify.alarm_topics import AlarmNotice, AlarmTopics
from tests.end_to_end.ingest_runs import (
    count,
    ingest,
    is_kept,
    publish,
    publisher,
    session,
    wait_for_session,
    wait_until,
)
from tests.fixtures.broker import Mosquitto
from tests.fixtures.line import Door
from tests.fixtures.older_broker import older
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
TOPIC = "drumkeep/v1/north/attic/readings"


def pack(number: int) -> list[dict[str, object]]:
    at = time.time() - number  # noqa: TID251 - readings must be recent to be taken
    return [{"n": Shed.air_name, "u": "Cel", "v": number, "t": at}]


@pytest.mark.timeout(120)
@pytest.mark.parametrize("answers", [True, False])
def test_readings_are_stored_and_what_waits_is_kept_by_a_broker_of_the_older_protocol(
    shed: Shed, mosquitto: Mosquitto, answers
):
    with older(mosquitto, answers=answers) as door, publisher(mosquitto) as client:
        with ingest(shed, door) as process:
            wait_for_session(mosquitto)
            publish(client, TOPIC, pack(1))
            wait_until(lambda: count(shed, "reading") == 1, "the first is stored")
            process.kill()
        for number in range(2, 12):
            publish(client, TOPIC, pack(number))
        with ingest(shed, door) as process:
            wait_until(lambda: count(shed, "reading") == 11, "what waited is stored")
            told = process.stop()

    assert "Trying MQTT 3.1.1" in told
    assert "Connected to the broker with a kept session" in told
    assert "(p2, c0, k60)" in mosquitto.log()  # Mosquitto's word for 3.1.1, not a clean session
    assert door.turned_away >= 2


@contextmanager
def door_to(broker: Mosquitto, speaks: str) -> Iterator[Door]:
    if speaks == "5.0":
        yield broker
        return
    with older(broker, answers=True) as door:
        yield door


@pytest.mark.parametrize("speaks", ["5.0", "3.1.1"])
def test_a_session_is_ended_at_a_broker_of_either_protocol_and_what_waits_with_it(
    shed: Shed, mosquitto: Mosquitto, speaks: str
):
    with door_to(mosquitto, speaks) as door:
        with session(shed, door) as running:
            wait_for_session(mosquitto)
        with publisher(mosquitto) as client:
            publish(client, TOPIC, pack(1))
        assert is_kept(mosquitto, CLIENT_ID)

        assert running.forget()
        assert not is_kept(mosquitto, CLIENT_ID)

        with session(shed, door), publisher(mosquitto) as client:
            wait_for_session(mosquitto, times=2)
            publish(client, TOPIC, pack(2))
            wait_until(lambda: count(shed, "reading") == 1, "what comes from now on is stored")


def test_alarms_are_published_to_a_broker_of_the_older_protocol(mosquitto: Mosquitto):
    notice = AlarmNotice(site="north", alarm_id="1", body={"words": "cold"})
    with older(mosquitto, answers=True) as door:
        topics = AlarmTopics(host=door.host, port=door.port, root="drumkeep/v1")
        topics.start()
        wait_until(lambda: topics.publish([notice]) == ["1"], "it is confirmed")
        topics.stop()

    assert "'drumkeep/v1/north/alarms/1'" in mosquitto.log()
