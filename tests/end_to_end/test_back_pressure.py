"""A database that stands still: ingest holds the broker back, and loses and confuses nothing."""

import re
import time
from pathlib import Path

import pytest

from drumkeep.ingest.backlog import Backlog
from drumkeep.ingest.reader import Read
from tests.end_to_end.ingest_runs import (
    count,
    execute,
    publish,
    publisher,
    session,
    wait_for_session,
    wait_until,
)
from tests.fixtures.broker import Mosquitto
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
TOPIC = "drumkeep/v1/north/attic/readings"
NOW = time.time()  # noqa: TID251 - readings must be recent to be taken
SMALL = 50
ROOM_MB = 15


def pack(number: int, *, padding: int = 0) -> list[dict[str, object]]:
    record = {"n": Shed.air_name, "u": "Cel", "v": 20, "t": NOW - number, "x": "x" * padding}
    return [record]


def memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 2**20


def mids(broker: Mosquitto, pattern: str) -> list[int]:
    return [int(mid) for mid in re.findall(pattern, broker.log())]


SENT = r"Sending PUBLISH to drumkeep-ingest \(d\d, q1, r\d, m(\d+), 'drumkeep"
CONFIRMED = r"Received PUBACK from drumkeep-ingest \(Mid: (\d+),"


@pytest.mark.timeout(120)
def test_a_full_queue_holds_the_broker_back_and_all_is_stored_and_confirmed_in_order(
    shed: Shed, mosquitto: Mosquitto
):
    messages, padding = 3000, 10_000
    queue = Backlog[Read](most_messages=SMALL)
    with session(shed, mosquitto, queue=queue), publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        publish(client, TOPIC, pack(0))
        wait_until(lambda: count(shed, "reading") == 1, "the first is stored")
        before = memory_mb()
        longest = 0
        with shed.engine.connect() as connection, connection.begin():  # nobody else can write
            for number in range(1, messages):
                publish(client, TOPIC, pack(number, padding=padding))
                longest = max(longest, len(queue))
            assert longest == SMALL
            assert memory_mb() - before < ROOM_MB
            assert count(shed, "reading") == 1
        wait_until(lambda: count(shed, "reading") == messages, "all are stored")
        wait_until(lambda: len(mids(mosquitto, CONFIRMED)) == messages, "all are confirmed")

    assert mids(mosquitto, CONFIRMED) == mids(mosquitto, SENT)


@pytest.mark.timeout(120)
def test_what_was_of_a_connection_that_is_lost_confirms_nothing_of_the_next(
    shed: Shed, mosquitto: Mosquitto
):
    """A broker that was killed has forgotten us, and counts from 1 again."""
    queue = Backlog[Read](most_messages=SMALL)
    with session(shed, mosquitto, queue=queue):
        wait_for_session(mosquitto)
        with publisher(mosquitto) as client:
            publish(client, TOPIC, pack(0))
            wait_until(lambda: count(shed, "reading") == 1, "the first is stored")
        with shed.engine.connect() as connection, connection.begin():
            with publisher(mosquitto) as client:
                for number in range(1, 20):
                    publish(client, TOPIC, pack(number))
            wait_until(lambda: len(mids(mosquitto, SENT)) == 20, "they are on their way")
            mosquitto.kill()
            old = len(mosquitto.log())
            mosquitto.start()
            wait_until(
                lambda: "Sending SUBACK to drumkeep-ingest" in mosquitto.log()[old:], "it is back"
            )
            with publisher(mosquitto) as client:
                for number in range(20, 30):
                    publish(client, TOPIC, pack(number))
            wait_until(lambda: len(queue) >= 10, "they wait")
        wait_until(lambda: count(shed, "reading") == 30, "those of before and after are stored")
        wait_until(
            lambda: len(re.findall(CONFIRMED, mosquitto.log()[old:])) >= 10, "they are confirmed"
        )
    after = mosquitto.log()[old:]
    assert re.findall(CONFIRMED, after) == re.findall(SENT, after)
    assert len(re.findall(SENT, after)) == 10


def test_a_pack_that_cannot_be_stored_is_refused_alone_and_blocks_nothing(
    shed: Shed, mosquitto: Mosquitto
):
    execute(
        shed,
        "CREATE TRIGGER poison BEFORE INSERT ON reading WHEN new.value = 66.5 "
        "BEGIN SELECT RAISE(ABORT, 'poison'); END;",
    )
    with session(shed, mosquitto), publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        with shed.engine.connect() as connection, connection.begin():  # so that they are one batch
            for number in range(20):
                record = pack(number)
                record[0]["v"] = 66.5 if number % 7 == 3 else 20
                publish(client, TOPIC, record)
        wait_until(lambda: count(shed, "reading") == 17, "the others are stored")
        wait_until(lambda: len(mids(mosquitto, CONFIRMED)) == 20, "all are confirmed")

    with shed.engine.connect() as connection:
        told = connection.exec_driver_sql("SELECT problem, value FROM reject").all()
    assert [tuple(row) for row in told] == [("could not be stored", "Conflict")] * 3 or len(
        told
    ) == 3


def test_nothing_is_received_until_it_is_known_how_other_devices_are_read(
    shed: Shed, mosquitto: Mosquitto, caplog: pytest.LogCaptureFixture
):
    execute(shed, "ALTER TABLE foreign_mapping RENAME TO away")
    with session(shed, mosquitto) as running:
        wait_until(lambda: "Mappings could not be looked up" in caplog.text, "it has looked")
        assert not running.health().connected
        assert "drumkeep-ingest" not in mosquitto.log()

        execute(shed, "ALTER TABLE away RENAME TO foreign_mapping")
        wait_for_session(mosquitto)


def test_a_session_that_let_something_in_no_more_does_not_say_that_all_is_stored(
    shed: Shed, mosquitto: Mosquitto
):
    """It may be done away with at the broker once all is stored."""
    queue = Backlog[Read]()
    with session(shed, mosquitto, queue=queue) as running, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        publish(client, TOPIC, pack(0))
        wait_until(lambda: count(shed, "reading") == 1, "the first is stored")
        queue.close()
        before = running.health().last_message_at
        publish(client, TOPIC, pack(1))
        wait_until(lambda: running.health().last_message_at != before, "the second has come")

        assert not running.stop()
    assert count(shed, "reading") == 1
