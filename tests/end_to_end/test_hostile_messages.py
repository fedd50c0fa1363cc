"""Whatever is published, ingest goes on; what it cannot store it keeps, bounded, with a reason."""

import json
import random
import time

import pytest

from drumkeep.storage import rejects
from drumkeep.storage.transaction import reading
from tests.end_to_end.ingest_runs import (
    count,
    ingest,
    publish,
    publisher,
    wait_for_session,
    wait_until,
)
from tests.fixtures.broker import Mosquitto
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

TOPIC = "drumkeep/v1/north/attic/readings"
GOOD = {"n": Shed.air_name, "u": "Cel", "v": 20}

HOSTILE = [
    b"",
    b"\0",
    b"hello",
    b"\xff\xfe\x00",
    b"{}",
    b"[]",
    b"[[]]",
    b"null",
    b"[" * 50_000,
    b'[{"x":' + b"[" * 50_000 + b"]" * 50_000 + b"}]",
    b'[{"n":"a","v":NaN}]',
    b'[{"n":"a","v":1e999}]',
    b'[{"n":"a","v":' + b"9" * 5000 + b"}]",
    b'[{"n":"a\\ud800","u":"\\ud800","v":1}]',
    b'[{"n":"a","u":"\\u0000","v":1}]',
    b'[{"n":"a","u":"Cel","v":1,"t":1.7e308}]',
    b'[{"n":"a","u":"Cel","bt":-1.7e308,"v":1}]',
    b'[{"n":"g:spool:00c0ffee","u":"count","v":9007199254740991}]x',
    b'[{"n":"g:spool:00c0ffee","u":"count","v":1e300}]',
    b'[{"n":"' + b"a" * 500_000 + b'","u":"Cel","v":1}]',
    b'[{"n":"a","u":"Cel","v":1,"must_":1}]',
    b'[{"n":"a","bver":11,"v":1}]',
    b'[{"n":"x","u":"' + "💥".encode() * 1000 + b'","v":1}]',
    b" " * (2**20 + 1),
]
TOPICS = [
    "drumkeep/v1/north/alarms/readings",
    "drumkeep/v1/ /attic/readings",
    "drumkeep/v1/north/nobody/readings",
    "drumkeep/v1//attic/readings",
    "drumkeep/v1/" + "x" * 5000 + "/attic/readings",
    "drumkeep/v1/n\u0301/💥/readings",
    "drumkeep/v1/north/attic/presence",
    "drumkeep/v1/north/nobody/presence",
]


@pytest.mark.timeout(120)
def test_no_message_stops_ingest_and_each_refused_one_is_kept(shed: Shed, mosquitto: Mosquitto):
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        publish(client, TOPIC, [GOOD])
        wait_until(lambda: count(shed, "reading") == 1, "the first reading is stored")
        for payload in HOSTILE:
            publish(client, TOPIC, payload)
        for topic in TOPICS:
            publish(client, topic, [GOOD])
        publish(client, TOPIC, [{**GOOD, "t": time.time() - 1}])  # noqa: TID251 - must be recent

        wait_until(lambda: count(shed, "reading") == 2, "the last reading is stored")
        assert process.alive
        told = process.stop()

    assert "Traceback" not in told
    with reading(shed.engine) as tx:
        kept = rejects.list_rejects(tx, limit=1000)
        sources = {row.source for row in kept}
        assert all(len(row.payload) <= 4096 and row.problem and row.mend for row in kept)
    # All but two: presence of a gateway nobody knows is no reading, and a bare spool number is one.
    assert len(kept) >= len(HOSTILE) + len(TOPICS) - 1
    assert {topic[:400] for topic in TOPICS if topic.endswith("readings")} <= sources


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_refusals_stay_bounded_under_a_flood(shed: Shed, mosquitto: Mosquitto):
    dice = random.Random(9)  # noqa: S311 - no secret
    flood = 12_000
    with ingest(shed, mosquitto) as process, publisher(mosquitto) as client:
        wait_for_session(mosquitto)
        publish(client, TOPIC, [GOOD])
        wait_until(lambda: count(shed, "reading") == 1, "the first reading is stored")
        for number in range(flood):
            octets = bytearray(json.dumps([{**GOOD, "v": number}]).encode())
            for _ in range(3):
                octets[dice.randrange(len(octets))] = dice.randrange(256)
            client.publish(TOPIC, bytes(octets), qos=1)
        publish(client, TOPIC, [{**GOOD, "t": time.time() - 1, "v": -59.5}])  # noqa: TID251

        wait_until(lambda: stored(shed, -59.5), "the last reading is stored")
        assert process.alive

    assert count(shed, "reject") == rejects.KEPT


def stored(shed: Shed, value: float) -> bool:
    with reading(shed.engine) as tx:
        found = tx.session.connection().exec_driver_sql(
            "SELECT count(*) FROM reading WHERE value = ?", (value,)
        )
        return bool(found.scalar_one())
