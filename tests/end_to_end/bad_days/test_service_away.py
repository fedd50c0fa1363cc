"""The service is away: killed, stopped, kept from its database, without a broker.

What the broker acknowledged is stored once all the same, whatever device sent it.
"""

import random
import time
from functools import partial

import pytest
from paho.mqtt.client import Client

from tests.end_to_end.ingest_runs import (
    count,
    execute,
    ingest,
    publish,
    publisher,
    wait_for_session,
    wait_until,
)
from tests.fixtures.broker import Mosquitto
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

READINGS = 1000
TOPIC = "drumkeep/v1/north/attic/readings"
NOW = time.time()  # noqa: TID251 - readings must be recent to be taken


def send(client: Client, number: int) -> None:
    record = {"n": Shed.air_name, "u": "Cel", "v": number / 10, "t": NOW - number}
    publish(client, TOPIC, [record])


@pytest.mark.slow
@pytest.mark.timeout(180)
def test_a_thousand_readings_are_a_thousand_rows_however_often_ingest_is_killed(
    shed: Shed, mosquitto: Mosquitto
):
    dice = random.Random(20260205)  # noqa: S311 - no secret
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        send(client, 0)
        wait_until(lambda: count(shed, "reading") == 1, "the first reading is stored")
        process.kill()
    sent = 1
    kills = 0
    with publisher(mosquitto) as client:
        while sent < READINGS:
            with ingest(shed, mosquitto) as process:
                # Some while it starts, some while it stores what waited, some in between.
                until = time.monotonic() + dice.uniform(0.2, 2.0)
                while sent < READINGS and time.monotonic() < until:
                    send(client, sent)
                    sent += 1
                    time.sleep(dice.uniform(0, 0.01))
                process.kill()
                kills += 1
    assert kills > 1

    with ingest(shed, mosquitto) as process:
        wait_until(lambda: count(shed, "reading") >= READINGS, "all readings are stored")
        told = process.stop()

    assert count(shed, "reading") == READINGS
    assert count(shed, "reject") == 0
    assert "Traceback" not in told


def test_what_is_sent_while_ingest_is_away_is_stored_when_it_is_back(
    shed: Shed, mosquitto: Mosquitto
):
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        send(client, 0)
        wait_until(lambda: count(shed, "reading") == 1, "the first reading is stored")
        process.stop()
        for number in range(1, 50):
            send(client, number)
        mosquitto.stop()
    mosquitto.start()

    with ingest(shed, mosquitto):
        wait_until(lambda: count(shed, "reading") == 50, "what waited is stored")


def test_a_writer_that_cannot_go_on_ends_the_process_and_loses_nothing(
    shed: Shed, mosquitto: Mosquitto
):
    # Neither the reading nor the reason why it cannot be stored can be stored.
    for table in ("reading", "reject"):
        execute(
            shed,
            f"CREATE TRIGGER no_{table} BEFORE INSERT ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'no'); END;",
        )
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        send(client, 0)
        assert process.end() == 70

    execute(shed, "DROP TRIGGER no_reading; DROP TRIGGER no_reject;")
    with ingest(shed, mosquitto):
        wait_until(partial(stored, shed, 1), "the reading is stored")


@pytest.mark.slow
def test_readings_wait_for_a_database_that_is_locked(shed: Shed, mosquitto: Mosquitto):
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        send(client, 0)
        wait_until(lambda: count(shed, "reading") == 1, "the first reading is stored")
        with shed.engine.connect() as connection, connection.begin():
            for number in range(1, 20):
                send(client, number)
            # Longer than the database itself waits for a lock.
            time.sleep(6)
            assert count(shed, "reading") == 1
            assert process.alive

        wait_until(lambda: count(shed, "reading") == 20, "what waited is stored")


@pytest.mark.slow
def test_ingest_finds_a_broker_that_comes_later_and_one_that_comes_back(
    shed: Shed, mosquitto: Mosquitto
):
    mosquitto.stop()
    with ingest(shed, mosquitto):
        time.sleep(0.5)
        for number in range(3):
            mosquitto.start()
            with publisher(mosquitto) as client:
                # Kept by the broker from the first time on, so that nothing can be missed.
                wait_for_session(mosquitto)
                send(client, number)
                wait_until(partial(stored, shed, number + 1), "it is stored")
            mosquitto.stop()


def stored(shed: Shed, rows: int) -> bool:
    return count(shed, "reading") == rows
