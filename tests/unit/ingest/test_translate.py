"""A message becomes a pack or a change of presence, and never an exception."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

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


EDGE_S = 0.001


@pytest.mark.parametrize(
    ("ahead", "taken"),
    [
        (timedelta(minutes=10), True),
        (timedelta(minutes=10, seconds=EDGE_S), False),
        (timedelta(minutes=11), False),
        (timedelta(days=365), False),
        (-timedelta(days=90), True),
        (-timedelta(days=90, seconds=EDGE_S), False),
        (-timedelta(days=365), False),
        # RFC 8428, 4.5.3: from 2**28 s on a time is absolute; this is the first that is.
        (datetime(1978, 7, 4, 21, 24, 16, tzinfo=UTC) - NOW, False),
    ],
)
def test_times_are_taken_from_90_days_back_to_10_minutes_ahead_by_broker(
    ahead: timedelta,
    taken: bool,  # noqa: FBT001 - a parameter
):
    pack = pack_of(arrived([SPOOL, {"n": "a", "u": "Cel", "v": 1, "t": seconds(NOW + ahead)}]))

    assert len(pack.readings) == taken
    assert [rejection.ahead_s for rejection in pack.rejections] == (
        [] if taken else [pytest.approx(ahead.total_seconds(), abs=1e-6)]
    )
    assert pack.spool is not None  # refused counts as stored: it would be refused for ever


@pytest.mark.parametrize("ahead_s", [-3600.0, 0.0, 599.0])
def test_a_clock_that_counts_from_being_switched_on_gives_times_relative_to_the_arrival(ahead_s):
    """So says RFC 8428, 4.5.3; one that has run for more than ten minutes is refused."""
    (read,) = pack_of(arrived([{"n": "a", "u": "Cel", "v": 1, "t": ahead_s}])).readings
    assert read.ts_ms == round((NOW.timestamp() + ahead_s) * 1000)

    (refused,) = pack_of(arrived([{"n": "a", "u": "Cel", "v": 1, "t": 601}])).rejections
    assert refused.ahead_s == 601


@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Berlin"])
def test_the_hour_that_summer_time_skips_or_repeats_makes_no_difference(zone: str):
    """Seconds since 1970 know no zone: days of 23 and of 25 hours have them at their times."""
    for month, day in ((3, 8), (3, 29), (10, 25), (11, 1)):
        midnight = datetime(2026, month, day, tzinfo=ZoneInfo(zone)).astimezone(UTC)
        hours = [midnight + timedelta(minutes=30 * i) for i in range(8)]
        records = [{"n": "a", "u": "Cel", "v": 1, "t": seconds(at)} for at in hours]
        octets = json.dumps(records).encode()
        topic = "drumkeep/v1/north/attic/readings"
        message = Arrived(topic, octets, len(octets), False, hours[-1], 1, 1, 1)  # noqa: FBT003
        assert [r.ts_ms // 1000 for r in pack_of(message).readings] == [seconds(at) for at in hours]
