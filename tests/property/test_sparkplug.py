"""No octets can make the reader of Sparkplug do anything but read or refuse."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drumkeep.domain.sensors import name_fault
from drumkeep.operations.sparkplug_metrics import Births, Reads, read_metrics, sensor_name
from drumkeep.operations.sparkplug_wire import Address, Kind, NoPayload, Payload, decode

DATA = Path(__file__).parents[1] / "reference" / "data" / "sparkplug.json"
WRITTEN = [bytes.fromhex(one["hex"]) for one in json.loads(DATA.read_text())["payloads"]]
NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
READS = Reads("urn:dev:os:32473-attic", (("*", "C"),))


def read(octets: bytes) -> Payload | None:
    try:
        payload = decode(octets)
    except NoPayload:
        return None
    births = Births()
    for kind in (Kind.NODE_BIRTH, Kind.NODE_DATA, Kind.DEVICE_BIRTH, Kind.DEVICE_DATA):
        device = "dryer" if kind in {Kind.DEVICE_BIRTH, Kind.DEVICE_DATA} else ""
        address = Address("G", kind, "node", device)
        found = read_metrics(payload, address=address, reads=READS, births=births, received_at=NOW)
        births = Births.of(found.born) if found.born else births
        assert all(name_fault(one.sensor_name) is None for one in found.readings)
        assert all(one.problem and one.mend for one in found.rejections)
    return payload


@given(st.binary(max_size=300))
@example(b"\x12\x00" * 6000)
@example(b"\x12\x02\x0a\xff")
def test_any_octets_are_read_or_refused(octets):
    read(octets)


@given(st.sampled_from(WRITTEN), st.data())
def test_a_payload_with_octets_changed_cut_out_or_put_in_is_read_or_refused(octets, data):
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(octets)))
        gone = data.draw(st.integers(0, 3))
        octets = octets[:at] + data.draw(st.binary(max_size=3)) + octets[at + gone :]
    read(octets)


texts = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)
levels = texts.filter(lambda text: "/" not in text)


@given(
    st.tuples(levels, st.just("") | levels, texts), st.tuples(levels, st.just("") | levels, texts)
)
@example(("a", "b", "c"), ("a", "", "b/c"))
@example(("a", "", "t 1"), ("a", "", "t:201"))
def test_no_two_metrics_have_one_name(one, other):
    assert (sensor_name("urn:a", *one) == sensor_name("urn:a", *other)) == (one == other)


@given(levels, st.just("") | levels, texts)
def test_every_name_is_one_of_senml_or_too_long(node, device, metric):
    name = sensor_name("urn:dev:os:32473-attic", node, device, metric)

    assert len(name) > 160 or name_fault(name) is None


def test_what_was_written_before_it_was_spoilt_is_read():
    assert all(read(octets) is not None for octets in WRITTEN)
    with pytest.raises(NoPayload):
        decode(b"\xff")
