"""Metrics become readings by what their birth said; the rest is told with its reason, once."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.operations.sparkplug_metrics import Births, Reads, read_metrics, session_of
from drumkeep.operations.sparkplug_wire import Address, Kind, Metric, Payload, address_of

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
MS = to_ms(NOW)
URN = "urn:dev:os:32473-attic"
FLOAT, INT16, BOOLEAN, STRING = 9, 2, 11, 12
BIRTH = Address("Shed", Kind.DEVICE_BIRTH, "edge-1", "dryer")
DATA = Address("Shed", Kind.DEVICE_DATA, "edge-1", "dryer")


def metric(name="Temp", value=21.5, *, datatype=FLOAT, alias=None, time_ms=MS, **more):
    properties = {"engUnit": "°C"} | more.pop("properties", {})
    properties = {key: said for key, said in properties.items() if said is not None}
    told = {"transient": False, "null": False, **more}
    return Metric(name, alias, time_ms, datatype, value=value, properties=properties, **told)


def read(*metrics, address=BIRTH, births=(), units=(), sent=MS, **more):
    payload = Payload(sent, 0, metrics)
    reads = Reads(URN, units)
    known = Births.of(births)
    return read_metrics(
        payload, address=address, reads=reads, births=known, received_at=NOW, **more
    )


def values(found):
    return {one.sensor_name.removeprefix(URN): one.value for one in found.readings}


def reasons(found):
    return [(one.field, one.problem) for one in found.rejections]


def test_a_birth_names_its_metrics_and_brings_their_values():
    found = read(metric(alias=1), metric("RH", 40, datatype=INT16, properties={"engUnit": "%RH"}))

    assert values(found) == {":edge-1/dryer/Temp": 21.5, ":edge-1/dryer/RH": 40}
    assert {one.quantity for one in found.readings} == {"temperature", "humidity"}
    assert [(one.name, one.alias, one.unit) for one in found.born] == [
        ("Temp", 1, "Cel"),
        ("RH", None, "%RH"),
    ]
    assert found.rejections == ()


def test_data_by_alias_has_the_name_the_unit_and_the_datatype_of_the_birth():
    births = read(
        metric(alias=1, properties={"engUnit": "°F"}), metric("N", -5, datatype=INT16, alias=2)
    ).born
    data = [
        Metric(None, 1, MS - 1000, None, transient=False, null=False, value=77.0),
        Metric(None, 2, MS, None, transient=False, null=False, value=65531),  # -5 in 16 bits
    ]
    found = read(*data, address=DATA, births=births)

    assert values(found) == {":edge-1/dryer/Temp": 25, ":edge-1/dryer/N": -5}
    assert found.readings[0].ts_ms == MS - 1000
    assert not found.unknown


def test_what_no_birth_named_is_refused_and_asked_for():
    found = read(Metric(None, 9, MS, None, transient=False, null=False, value=1.0), address=DATA)

    assert found.readings == ()
    assert reasons(found) == [("dryer/alias 9", "was in no birth that is known")]
    assert found.unknown


def test_a_metric_that_says_all_by_itself_needs_no_birth():
    found = read(metric(), address=DATA)

    assert values(found) == {":edge-1/dryer/Temp": 21.5}
    assert not found.unknown


@pytest.mark.parametrize(
    ("more", "problem"),
    [
        ({"properties": {"Quality": 0}}, "was marked bad by the device"),
        ({"properties": {"Quality": 500}}, "was marked stale by the device"),
        ({"properties": {"Quality": 17}}, "has a quality that is not known"),
        ({"null": True}, "has no value"),
        ({"value": None}, "has no value"),
        ({"value": float("nan")}, "is no number"),
        ({"value": 900.0}, "is no plausible value"),
        ({"properties": {"engUnit": None}}, "says no unit"),
        ({"name": "x" * 150}, "makes too long a name"),
        ({"name": None}, "has no name in a birth"),
        ({"time_ms": MS - 91 * 86_400_000}, "is more than 90 days back"),
    ],
)
def test_what_is_no_reading_is_told_with_its_reason(more, problem):
    found = read(metric(**more))

    assert found.readings == ()
    assert [reason for _, reason in reasons(found)] == [problem]


def test_good_quality_is_taken_and_what_is_no_business_of_ours_is_left_alone():
    found = read(
        metric(properties={"Quality": 192}),
        metric("Door", value=True, datatype=BOOLEAN),
        metric("Label", "Dryer", datatype=STRING),
        metric("Speed", 1450.0, properties={"engUnit": "rpm"}),
        metric("Old", transient=True),
        metric("Device Control/Reboot", value=0, datatype=INT16, properties={"engUnit": None}),
    )

    assert values(found) == {":edge-1/dryer/Temp": 21.5}
    assert found.rejections == ()


def test_a_metric_left_alone_in_its_birth_is_left_alone_in_data():
    births = read(metric("Speed", 1450.0, alias=3, properties={"engUnit": None})).born
    found = read(
        Metric(None, 3, MS, None, transient=False, null=False, value=1.0),
        address=DATA,
        births=births,
    )

    assert (found.readings, found.rejections, found.unknown) == ((), (), False)


def test_a_unit_that_the_device_does_not_send_is_said_by_pattern():
    bare = {"properties": {"engUnit": None}}
    units = (("dryer/t*", "F"), ("*", "%RH"))

    assert values(read(metric(value=50.0, **bare), units=units)) == {":edge-1/dryer/Temp": 10}
    assert read(metric("Air", 50.0, **bare), units=units).readings[0].quantity == "humidity"
    # The device's own word counts before the pattern's.
    assert values(read(metric(value=50.0), units=units)) == {":edge-1/dryer/Temp": 50}


def test_times_come_from_the_metric_then_the_payload_then_the_arrival():
    assert read(metric(time_ms=MS - 5), sent=MS - 9).readings[0].ts_ms == MS - 5
    assert read(metric(time_ms=None), sent=MS - 9).readings[0].ts_ms == MS - 9
    assert read(metric(time_ms=None), sent=None).readings[0].ts_ms == MS
    (refused,) = read(metric(time_ms=None), sent=None, retained=True).rejections
    assert "retained" in refused.problem


def test_an_old_value_is_no_sign_of_a_wrong_clock_but_an_old_message_is():
    year = timedelta(days=365) // timedelta(milliseconds=1)
    (still,) = read(metric(time_ms=MS - year)).rejections
    (behind,) = read(metric(time_ms=MS - year), sent=MS - year).rejections

    assert still.ahead_s is None
    assert behind.ahead_s == -year / 1000


def test_a_session_is_read_from_birth_or_death():
    told = metric("bdSeq", 7, datatype=4)

    assert session_of(Payload(MS, 0, (metric(), told))) == 7
    assert session_of(Payload(MS, 0, (metric(),))) is None


@pytest.mark.parametrize(
    "topic",
    [
        *("spBv1.0/Shed/NDATA", "spBv1.0/Shed/NDATA/e/d", "spBv1.0/Shed/DDATA/e"),
        *("spBv1.0//NDATA/e", "spBv1.0/Shed/NCMD/e", "spBv1.0/STATE/host", "spAv1.0/Shed/NDATA/e"),
    ],
)
def test_other_topics_are_none_of_ours(topic):
    assert address_of(topic) is None
