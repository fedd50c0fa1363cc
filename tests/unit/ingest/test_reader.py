"""Messages are read as they arrive: none stops the others, and what is read is known in size."""

import gc
import json
import tracemalloc
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drumkeep.domain.readings import ArrivedPack, GatewayKey, SpoolNumber
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.foreign import ForeignTopics
from drumkeep.ingest.reader import Read, Reader
from drumkeep.storage.engine import create
from drumkeep_wire.topics import Topics

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
READINGS = "drumkeep/v1/north/attic/readings"
SPOOL = {"n": "urn:dev:os:32473-attic:spool:00c0ffee", "u": "count", "v": 7}
GOOD = json.dumps([SPOOL, {"n": "a", "u": "Cel", "v": 20}]).encode()


def arrived(payload: bytes, *, topic: str = READINGS) -> Arrived:
    return Arrived(topic, payload, len(payload), False, NOW, 1, 1, 1)  # noqa: FBT003


@pytest.fixture
def reader(tmp_path: Path) -> Callable[[Callable[[Arrived], bool]], Reader]:
    """Give a reader, told what to let pass, that knows no other devices."""
    foreign = ForeignTopics(create(f"sqlite:///{tmp_path}/never-opened.db"))
    return lambda passes: Reader(topics=Topics(), foreign=foreign, passes=passes)


def only(read: Read) -> ArrivedPack:
    (pack,) = read.contents
    assert isinstance(pack, ArrivedPack)
    return pack


def test_what_another_session_takes_is_kept_to_be_acknowledged_and_says_nothing(reader):
    passing = reader(lambda message: message.topic.startswith("drumkeep/v1/south/"))

    read = passing.read(arrived(GOOD, topic="drumkeep/v1/south/attic/readings"))

    assert read.contents == ()
    assert read.message.mid == 1
    assert len(only(passing.read(arrived(GOOD))).readings) == 1


def test_a_message_that_makes_trouble_nobody_foresaw_is_refused_alone(reader):
    def stumble(message: Arrived) -> bool:
        if b"66.5" in message.payload:
            raise ZeroDivisionError
        return False

    stumbling = reader(stumble)

    refused = only(stumbling.read(arrived(GOOD.replace(b"20", b"66.5"))))
    foreign = only(stumbling.read(arrived(b"66.5", topic="sensors/loft")))

    assert refused.readings == ()
    assert [told.problem for told in refused.rejections] == ["could not be read"]
    # else its gateway would send it for ever
    assert refused.gateway == GatewayKey("north", "attic")
    assert refused.spool == SpoolNumber("urn:dev:os:32473-attic", "00c0ffee", 7)
    assert foreign.gateway is None
    assert len(only(stumbling.read(arrived(GOOD))).readings) == 1


@pytest.mark.parametrize(
    "payload",
    [
        pytest.param(GOOD, id="one reading"),
        pytest.param(
            json.dumps(
                [
                    {"n": f"urn:dev:ow:{n:016x}:temp", "u": "Cel", "v": 20 + n / 1e4}
                    for n in range(9)
                ]
            ).encode(),
            id="some readings",
        ),
        pytest.param(b'[{"bn":"a","v":1}' + b',{"v":1}' * 5_000 + b"]", id="many of no unit"),
        pytest.param(b'[{"bn":"a","bu":"Cel","v":1}' + b',{"v":999}' * 5_000 + b"]", id="too hot"),
        pytest.param(b'[{"bn":"a","bu":"Cel","v":1}' + b',{"v":9}' * 5_000 + b"]", id="many"),
        pytest.param(b"[" * 5_000, id="no pack"),
    ],
)
def test_what_is_read_takes_no_more_memory_than_it_counts_for(reader, payload):
    reads = reader(lambda _message: False)
    reads.read(arrived(payload))  # what is remembered for good
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        read = reads.read(arrived(bytes(bytearray(payload))))
        gc.collect()
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert after - before <= read.octets
