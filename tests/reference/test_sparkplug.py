"""Sparkplug B payloads that others wrote are read as they meant them.

Sources: ``data/sparkplug.json``, whose payloads an independent library wrote; and octets put
together by hand from the Eclipse Sparkplug 3.0.0 specification, 6.4 ("Google Protocol Buffer
Schema": field numbers) and the encoding of protocol buffers (protobuf.dev/programming-guides/
encoding: a field's tag is its number times 8 plus 0 for varint, 1 for 64 bits, 2 for octets with
their length before them, 5 for 32 bits).
"""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drumkeep.operations.sparkplug_wire import decode, number_of, rebirth_request

WRITTEN = json.loads((Path(__file__).parent / "data" / "sparkplug.json").read_text())["payloads"]


@pytest.mark.parametrize("written", WRITTEN, ids=[one["name"] for one in WRITTEN])
def test_a_payload_of_another_library_is_read_as_it_was_written(written):
    read = decode(bytes.fromhex(written["hex"]))
    says = written["says"]

    assert (read.time_ms, read.seq) == (says["time_ms"], says["seq"])
    assert len(read.metrics) == len(says["metrics"])
    for metric, said in zip(read.metrics, says["metrics"], strict=True):
        assert (metric.name, metric.alias) == (said["name"], said["alias"])
        assert (metric.time_ms, metric.datatype) == (said["time_ms"], said["datatype"])
        assert dict(metric.properties) == said.get("properties", {})
        number = number_of(metric.value, metric.datatype)
        if number is None:
            assert metric.value == said["value"]
        else:
            assert number == float(said["value"])


def test_a_payload_put_together_by_hand_is_read():
    metric = (
        b"\x0a\x04Temp"  # name = 1: octets, 4 of them
        b"\x10\x05"  # alias = 2: 5
        b"\x18\xe8\x07"  # timestamp = 3: 1000 = 0b111_1101000, low seven bits first
        b"\x20\x03"  # datatype = 4: Int32
        b"\x28\x01"  # is_historical = 5
        b"\x4a\x14"  # properties = 9: 20 octets
        b"\x0a\x07Quality"  # keys = 1
        b"\x12\x09"  # values = 2: 9 octets
        b"\x08\x03\x18\xc0\x81\x80\x80\x80\x00"  # type = 1: Int32; int_value = 3: 192, padded
        b"\x50\xfb\xff\xff\xff\x0f"  # int_value = 10: 2**32 - 5, which is -5 in 32 bits
    )
    octets = b"\x08\xd0\x0f" + b"\x12" + bytes([len(metric)]) + metric + b"\x18\x02"

    read = decode(octets)

    assert (read.time_ms, read.seq) == (2000, 2)
    (found,) = read.metrics
    assert (found.name, found.alias, found.time_ms, found.datatype) == ("Temp", 5, 1000, 3)
    assert found.properties == {"Quality": 192}
    assert number_of(found.value, found.datatype) == -5


@pytest.mark.parametrize(
    ("datatype", "value", "number"),
    # Int8 and Int16 come in 32 bits from some libraries and in their own from others.
    [
        (1, 2**32 - 5, -5),
        (1, 251, -5),
        (2, 2**32 - 300, -300),
        (2, 65236, -300),
        (4, 2**64 - 1, -1),
    ],
)
def test_a_small_negative_number_is_read_in_whatever_width_it_comes(datatype, value, number):
    assert number_of(value, datatype) == number


def test_the_request_for_a_rebirth_is_the_one_of_the_specification():
    # 1770292800000 in groups of seven bits from the lowest: the varint of both timestamps.
    when = b"\x80\xd4\xb1\xed\xc2\x33"
    name = b"Node Control/Rebirth"
    metric = b"\x0a\x14" + name + b"\x18" + when + b"\x20\x0b" + b"\x70\x01"  # Boolean = 11: true

    octets = rebirth_request(now=datetime(2026, 2, 5, 12, tzinfo=UTC))

    assert octets == b"\x08" + when + b"\x12" + bytes([len(metric)]) + metric
