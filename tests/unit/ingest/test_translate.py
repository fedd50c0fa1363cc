"""A message becomes a pack or a change of presence, and never an exception."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.readings import ArrivedPack, GatewayKey, Reading, SpoolNumber
from drumkeep.domain.sensors import Quantity
from drumkeep.ingest.backlog import LONGEST_PAYLOAD, Arrived
from drumkeep.ingest.presence import PresenceChange
from drumkeep.ingest.translate import translate
from drumkeep_wire.topics import Topics

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
TOPICS = Topics()
SPOOL = {"n": "urn:dev:os:32473-attic:spool:00c0ffee", "u": "count", "v": 7}


def arrived(
    payload: bytes | Sequence[object],
    *,
    topic: str = "drumkeep/v1/north/attic/readings",
    retained: bool = False,
    size: int | None = None,
) -> Arrived:
    octets = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return Arrived(topic, octets, size or len(octets), retained, NOW, 1, 1, 1)


def pack_of(message: Arrived) -> ArrivedPack:
    read = translate(message, topics=TOPICS)
    assert isinstance(read, ArrivedPack)
    return read


def seconds(moment: datetime) -> float:
    return moment.timestamp()


def test_temperature_and_humidity_become_readings():
    pack = pack_of(
        arrived([SPOOL, {"n": "a", "u": "Cel", "v": -7}, {"n": "b", "u": "%RH", "v": 81.5}])
    )

    ts_ms = int(NOW.timestamp() * 1000)
    assert pack.gateway == GatewayKey("north", "attic")
    assert pack.spool == SpoolNumber("urn:dev:os:32473-attic", "00c0ffee", 7)
    assert pack.rejections == ()
    assert pack.readings == (
        Reading("a", Quantity.TEMPERATURE, ts_ms, -7.0, 1),
        Reading("b", Quantity.HUMIDITY, ts_ms, 81.5, 2),
    )


@pytest.mark.parametrize(
    ("record", "field"),
    [
        ({"n": "a", "v": 20}, "u"),
        ({"n": "a", "u": "lm", "v": 293}, "u"),
        ({"n": "a", "u": "K", "v": 20}, "v"),
        ({"n": "a", "u": "%EL", "v": 100.5}, "v"),
        ({"n": "a", "u": "degF", "v": 68}, "u"),
        ({"n": "a", "u": "Cel", "vs": "20"}, "v"),
        ({"n": "a", "u": "Cel", "vb": True}, "v"),
        ({"n": "a", "u": "Cel", "vd": "aGk"}, "v"),
        ({"n": "a", "u": "Cel", "s": 20}, "v"),
        ({"n": "a", "u": "Cel", "v": -60.01}, "v"),
        ({"n": "a", "u": "Cel", "v": 200.01}, "v"),
        ({"n": "a", "u": "%RH", "v": -0.01}, "v"),
        ({"n": "a", "u": "%RH", "v": 100.01}, "v"),
        ({"n": "a", "u": "Cel", "v": 1, "t": 601}, "t"),
        ({"n": "a", "u": "Cel", "v": 1, "t": -90 * 86_400 - 1}, "t"),
        # A clock that is wrong by a year.
        ({"n": "a", "u": "Cel", "v": 1, "t": seconds(NOW - timedelta(days=365))}, "t"),
        ({"n": "a", "u": "Cel", "v": 1, "t": seconds(NOW + timedelta(days=365))}, "t"),
        ({"n": "a", "u": "Cel", "v": 1, "t": 1.7e308}, "t"),
    ],
)
def test_a_record_that_is_no_reading_is_kept_aside_and_the_others_stored(
    record: dict[str, object], field: str
):
    pack = pack_of(arrived([{"n": "b", "u": "Cel", "v": 1}, record]))

    assert [reading.sensor_name for reading in pack.readings] == ["b"]
    assert [(told.index, told.field) for told in pack.rejections] == [(1, field)]


@pytest.mark.parametrize(
    "record",
    [
        {"n": "a", "u": "Cel", "v": -60},
        {"n": "a", "u": "Cel", "v": 200},
        {"n": "a", "u": "%RH", "v": 0},
        {"n": "a", "u": "%RH", "v": 100},
        {"n": "a", "u": "Cel", "v": 1, "t": 600},
        {"n": "a", "u": "Cel", "v": 1, "t": -90 * 86_400},
    ],
)
def test_the_limits_themselves_are_taken(record: dict[str, object]):
    assert len(pack_of(arrived([record])).readings) == 1


@pytest.mark.parametrize(
    ("message", "field"),
    [
        (arrived(b"hello"), ""),
        (arrived([]), ""),
        (arrived([{"n": "a", "v": "x"}]), "v"),
        (arrived(b"[", size=LONGEST_PAYLOAD + 1), ""),
        (arrived([{"n": "a", "v": 1}], topic="elsewhere"), "topic"),
        (arrived([{"n": "a", "v": 1}], topic="drumkeep/v1/north/alarms/readings"), "gateway"),
        (arrived(b"online", topic="drumkeep/v1/north/attic/presence"), ""),
    ],
)
def test_what_cannot_be_read_is_one_rejection_with_its_beginning(message: Arrived, field: str):
    pack = pack_of(message)

    assert pack.readings == ()
    assert [told.field for told in pack.rejections] == [field]
    assert pack.prefix == message.payload
    assert pack.size == message.size


def test_a_pack_that_is_refused_keeps_its_spool_number():
    pack = pack_of(arrived([SPOOL, {"n": "a", "v": "x"}]))

    assert len(pack.rejections) == 1
    assert pack.spool == SpoolNumber("urn:dev:os:32473-attic", "00c0ffee", 7)


def test_a_retained_pack_is_taken_only_when_it_says_when_it_was():
    relative = [{"n": "a", "u": "Cel", "v": 1}]
    absolute = [{"n": "a", "u": "Cel", "v": 1, "t": seconds(NOW - timedelta(hours=1))}]

    assert len(pack_of(arrived(relative, retained=True)).rejections) == 1
    assert len(pack_of(arrived(absolute, retained=True)).readings) == 1
    assert len(pack_of(arrived(relative)).readings) == 1


@pytest.mark.parametrize(
    ("told", "since"),
    [
        ({"state": "online", "time": seconds(NOW - timedelta(minutes=5))}, timedelta(minutes=-5)),
        ({"state": "offline"}, timedelta()),
        # No gateway knows the future.
        ({"state": "online", "time": seconds(NOW + timedelta(hours=1))}, timedelta()),
        ({"state": "online", "time": 1e300}, timedelta()),
    ],
)
def test_presence_holds_from_when_the_gateway_says(told: dict[str, object], since: timedelta):
    message = arrived(json.dumps(told).encode(), topic="drumkeep/v1/north/attic/presence")

    assert translate(message, topics=TOPICS) == PresenceChange(
        GatewayKey("north", "attic"), told["state"] == "online", NOW + since
    )
