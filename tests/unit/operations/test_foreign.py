"""Messages of other devices become readings, or say why they do not."""

import json
from datetime import UTC, datetime

import pytest
from paho.mqtt.client import topic_matches_sub

from drumkeep.errors import Invalid
from drumkeep.operations.foreign import ForeignMap, check_map, matches, read_message

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)


def mapped(**changes):
    usual = {"topic": "sensors/+/state", "name": "topic[1]", "value": "item.t", "unit": "'C'"}
    return ForeignMap(**(usual | changes))


def read(message, *, topic="sensors/shed/state", **changes):
    payload = message if isinstance(message, bytes) else json.dumps(message).encode()
    return read_message(mapped(**changes), topic=topic, payload=payload, now=NOW)


def values(found):
    assert found.rejections == ()
    return [(one.sensor_name, one.value, one.ts_ms) for one in found.readings]


# NIST SP 811 (2008), B.8: t/°C = (t/°F - 32)/1.8 and t/°C = T/K - 273.15.
@pytest.mark.parametrize(
    ("unit", "value", "celsius"),
    [
        ("C", 21.5, 21.5),
        ("°F", 77, 25.0),
        ("F", -40, -40.0),
        ("fahrenheit", 32, 0.0),
        ("K", 273.15, 0.0),
        ("Cel", -12, -12.0),
    ],
)
def test_temperatures_are_converted(unit, value, celsius):
    found = read({"t": value, "u": unit}, unit="item.u")

    assert values(found) == [("shed", pytest.approx(celsius, abs=1e-12), NOW_MS)]


def test_a_list_of_items_names_each_and_takes_its_time():
    message = {
        "at": "2026-02-05T06:00:00-06:00",
        "probes": [{"id": "a", "f": "41"}, {"id": "b", "f": 50, "at": 1770292800000}],
    }
    found = read(
        message,
        items="probes",
        name="join(':', ['urn:dev:os:32473-shed', item.id])",
        value="item.f",
        unit="'F'",
        time="item.at || message.at",
    )

    assert values(found) == [
        ("urn:dev:os:32473-shed:a", pytest.approx(5.0), NOW_MS),
        ("urn:dev:os:32473-shed:b", pytest.approx(10.0), NOW_MS),
    ]
    assert found.timed


def test_one_bad_item_does_not_keep_the_others():
    found = read(
        [{"t": 1}, {"t": "warm"}, {}, {"t": True}, {"t": 900}, {"t": 2}],
        name="join('', [topic[1], to_string(item.t)])",
    )

    assert [one.value for one in found.readings] == [1, 2]
    assert sorted((r.index, r.field, r.problem) for r in found.rejections) == [
        (1, "value", "is no number"),
        (2, "value", "is no number"),
        (3, "value", "is no number"),
        (4, "v", "is no plausible value"),
    ]


@pytest.mark.parametrize(
    ("message", "changes", "field"),
    [
        (b"", {}, ""),
        (b"21.5 C", {}, ""),
        (b'{"t": NaN}', {}, ""),
        (b"\xff\xfe", {}, ""),
        (b"[" * 100_000, {}, ""),
        (b"9" * 5000, {}, ""),
        ({"t": 10**400}, {}, "value"),
        ({"t": "inf"}, {}, "value"),
        ({"t": 1}, {"unit": "item.u"}, "unit"),
        ({"t": 1}, {"unit": "'furlong'"}, "unit"),
        ({"t": 1}, {"name": "item.id"}, "name"),
        ({"t": 1, "id": "two words"}, {"name": "item.id"}, "name"),
        ({"t": 1, "id": 7}, {"name": "join('-', item.id)"}, "name"),
        ({"t": "x"}, {"value": "abs(item.t)"}, "value"),
        ({"t": 1, "at": "2026-02-05T12:00:00"}, {"time": "item.at"}, "time"),
        ({"t": 1, "at": "noon"}, {"time": "item.at"}, "time"),
        ({"t": 1, "at": 0}, {"time": "item.at"}, "t"),
        ({"t": 1, "at": "2031-02-05T12:00:00Z"}, {"time": "item.at"}, "t"),
    ],
)
def test_what_is_no_reading_says_where_and_why(message, changes, field):
    found = read(message, **changes)

    assert found.readings == ()
    (told,) = found.rejections
    assert told.field == field
    assert told.problem
    assert told.mend.endswith(".")


FILTERS = ["a", "a/b", "+", "+/b", "a/+", "a/#", "#", "a/+/c", "+/+", "/", "/+", "a//c", "a/b/#"]
TOPICS = ["a", "a/b", "a/b/c", "b", "/", "a/", "/b", "a//c", "$SYS/a", "$SYS"]


@pytest.mark.parametrize("topic_filter", FILTERS)
@pytest.mark.parametrize("topic", TOPICS)
def test_filters_match_as_those_of_the_mqtt_client_do(topic_filter, topic):
    assert matches(topic_filter, topic) == topic_matches_sub(topic_filter, topic)


@pytest.mark.parametrize(
    "topic",
    ["#", "+/x", "drumkeep/v1/#", "drumkeep/x", "$SYS/#", "/x", "", "a/b#", "a/#/b", "a/x+"],
)
def test_a_filter_that_would_take_in_more_than_the_devices_own_is_refused(topic):
    with pytest.raises(Invalid) as refused:
        check_map(mapped(topic=topic), root="drumkeep/v1")

    assert [fault.field for fault in refused.value.faults] == ["topic"]


def test_every_expression_that_is_none_is_named_at_once():
    with pytest.raises(Invalid) as refused:
        check_map(mapped(name="topic[", value="", unit="°F", time="a" * 401), root="drumkeep/v1")

    assert [fault.field for fault in refused.value.faults] == ["name", "value", "unit", "time"]


def test_what_works_is_let_through():
    check_map(mapped(time="item.at", items="probes[*]"), root="drumkeep/v1")


def test_many_small_items_are_read_whole_and_an_expression_without_end_is_told():
    items = [{"t": n % 30} for n in range(5000)]
    whole = read(items, name="join('-', [topic[1], to_string(item.t)])", time="`1770292800`")
    assert (len(whole.readings), whole.rejections) == (5000, ())

    (told,) = read({"t": 1}, value="length(to_string(" + "|".join(["[@,@]"] * 57) + "))").rejections
    assert (told.field, told.problem) == ("value", "asks for too much work")
