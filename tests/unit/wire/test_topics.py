"""Topics of the contract."""

import pytest

from drumkeep_wire.committed import Committed, decode_committed, encode_committed
from drumkeep_wire.errors import WireError
from drumkeep_wire.presence import Presence, decode_presence, encode_presence
from drumkeep_wire.topics import Address, Topics


def test_topics_are_those_of_the_contract():
    topics = Topics()

    assert topics.readings(site="north", gateway="dock") == "drumkeep/v1/north/dock/readings"
    assert topics.presence(site="north", gateway="dock") == "drumkeep/v1/north/dock/presence"
    assert topics.committed(site="north", gateway="dock") == "drumkeep/v1/north/dock/committed"
    assert topics.alarm(site="north", alarm_id="12") == "drumkeep/v1/north/alarms/12"
    assert topics.every("readings") == "drumkeep/v1/+/+/readings"


def test_the_root_may_be_another():
    topics = Topics("shed/a b/2")

    topic = topics.readings(site="north", gateway="dock")

    assert topic == "shed/a b/2/north/dock/readings"
    assert topics.parse(topic) == Address("north", "dock", "readings")


@pytest.mark.parametrize("root", ["", "/", "a/", "/a", "a//b", "a/+", "#", "$SYS", "a\n"])
def test_a_root_that_cannot_be_published_under_is_refused(root: str):
    with pytest.raises(WireError):
        Topics(root)


@pytest.mark.parametrize("code", ["", "a/b", "+", "#", "a#", "a\0", " a", "a ", "x" * 81, "alarms"])
def test_a_gateway_that_cannot_be_one_level_is_refused(code: str):
    with pytest.raises(WireError) as refusal:
        Topics().readings(site="north", gateway=code)

    assert refusal.value.field == "gateway"
    assert refusal.value.value == code


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "drumkeep/v1",
        "drumkeep/v2/north/dock/readings",
        "drumkeep/v1/north/readings",
        "drumkeep/v1/north/dock/extra/readings",
        "drumkeep/v1/north/dock/reading",
        "drumkeep/v1//dock/readings",
        "drumkeep/v1/north//readings",
        "drumkeep/v1/north/alarms/readings",
        "drumkeep/v1/north/+/readings",
    ],
)
def test_a_topic_outside_the_contract_is_refused(topic: str):
    with pytest.raises(WireError):
        Topics().parse(topic)


def test_presence_has_a_time_or_none():
    assert encode_presence(Presence("online", 1_770_000_000.0)) == (
        b'{"state":"online","time":1770000000.0}'
    )
    assert decode_presence(b'{"state":"offline"}') == Presence("offline", None)
    assert decode_presence(b'{"state":"online","time":1770000000}').time == 1_770_000_000


@pytest.mark.parametrize(
    "payload", [b"", b"online", b"{}", b'{"state":"on"}', b'{"state":"online","time":"now"}']
)
def test_what_is_no_presence_is_refused(payload: bytes):
    with pytest.raises(WireError):
        decode_presence(payload)


def test_a_confirmation_is_written_as_the_contract_says():
    assert encode_committed(Committed("00c0ffee", 12)) == b'{"spool":"00c0ffee","upto":12}'
    assert decode_committed(b'{"spool":"00c0ffee","upto":12}') == Committed("00c0ffee", 12)


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"{}",
        b'{"spool":"00C0FFEE","upto":1}',
        b'{"spool":"00c0ffee0","upto":1}',
        b'{"spool":"00c0ffee","upto":-1}',
        b'{"spool":"00c0ffee","upto":1.5}',
    ],
)
def test_what_is_no_confirmation_is_refused(payload: bytes):
    with pytest.raises(WireError):
        decode_committed(payload)
