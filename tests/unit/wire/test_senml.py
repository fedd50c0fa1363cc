"""Packs that are none, and the spool number."""

import pytest

from drumkeep_wire.errors import WireError
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import decode_pack, encode_pack

NOW = 1_770_000_000.0


@pytest.mark.parametrize(
    ("payload", "field", "index"),
    [
        (b"", "", None),
        (b"20.5", "", None),
        (b"{}", "", None),
        (b"[]", "", None),
        (b"[", "", None),
        (b"\xef\xbb\xbf[]", "", None),
        (b'[{"n":"a","v":1}]x', "", None),
        (b'[{"n":"\xff","v":1}]', "", None),
        (b'[{"n":"a","v":NaN}]', "", None),
        (b'[{"n":"a\\ud800","v":1}]', "", None),
        (b"[" * 100_000, "0", 0),
        (b'[{"x":' + b"[" * 100_000 + b"]" * 100_000 + b"}]", "", None),
        (b"[null]", "0", 0),
        (b'[{"n":"a","v":1},7]', "1", 1),
        (b'[{"n":"a","v":"20.5"}]', "0.v", 0),
        (b'[{"n":"a","v":true}]', "0.v", 0),
        (b'[{"n":"a","v":null}]', "0.v", 0),
        (b'[{"n":"a","v":1e400}]', "0.v", 0),
        (b'[{"n":5,"v":1}]', "0.n", 0),
        (b'[{"n":"a","u":5,"v":1}]', "0.u", 0),
        (b'[{"n":"a","t":"now","v":1}]', "0.t", 0),
        (b'[{"n":"a","vb":1}]', "0.vb", 0),
        (b'[{"n":"a","vd":"a+/b"}]', "0.vd", 0),
        (b'[{"n":"a","vd":"abcde"}]', "0.vd", 0),
        (b'[{"n":"a"}]', "0.v", 0),
        (b'[{"bn":"a","bv":20}]', "0.v", 0),
        (b'[{"n":"a","v":1,"vs":"x"}]', "0.vs", 0),
        (b'[{"v":1}]', "0.n", 0),
        (b'[{"n":"a","v":1,"bver":11}]', "0.bver", 0),
        (b'[{"n":"a","v":1,"bver":0}]', "0.bver", 0),
        (b'[{"n":"a","v":1,"bver":5.5}]', "0.bver", 0),
        (b'[{"n":"a","v":1,"bver":5},{"n":"a","v":1,"bver":10}]', "1.bver", 1),
        (b'[{"n":"a","v":1},{"n":"a","v":1,"bver":5}]', "1.bver", 1),
        (b'[{"n":"a","bt":1.7e308,"t":1.7e308,"v":1}]', "0.t", 0),
        (b'[{"n":"a","bv":1.7e308,"v":1.7e308}]', "0.v", 0),
        (b'[{"n":"a","bs":1.7e308,"s":1.7e308}]', "0.s", 0),
    ],
)
def test_what_is_no_pack_is_refused_naming_record_and_label(
    payload: bytes, field: str, index: int | None
):
    with pytest.raises(WireError) as refusal:
        decode_pack(payload, received_at=NOW)

    assert refusal.value.field == field
    assert refusal.value.index == index
    assert refusal.value.problem
    assert refusal.value.mend.endswith(".")


def test_a_refusal_shows_the_value_and_cuts_a_long_one():
    with pytest.raises(WireError) as refusal:
        decode_pack(b'[{"n":"a","v":"20.5"}]', received_at=NOW)
    assert refusal.value.value == '"20.5"'

    with pytest.raises(WireError) as refusal:
        decode_pack(b'[{"n":"' + b"!" * 10_000 + b'","v":1}]', received_at=NOW)
    assert len(str(refusal.value.value)) < 300


def test_a_whole_version_may_be_written_with_a_point():
    assert decode_pack(b'[{"n":"a","v":1,"bver":10.0}]', received_at=NOW).version == 10


def test_records_are_put_in_order_of_time_and_keep_the_place_they_were_sent_in():
    payload = b'[{"bn":"a","bt":1770000000,"t":9,"v":1},{"t":3,"v":2},{"t":3,"v":3},{"t":1,"v":4}]'

    pack = decode_pack(payload, received_at=NOW)

    assert [(record.value, record.index) for record in pack.records] == [
        (4, 3),
        (2, 1),
        (3, 2),
        (1, 0),
    ]


def test_the_spool_number_is_taken_out_of_the_records():
    payload = (
        b'[{"n":"urn:dev:mac:0024befffe804ff1:spool:00c0ffee","u":"count","v":7},'
        b'{"bt":1770000000,"n":"a","u":"Cel","v":1}]'
    )

    pack = decode_pack(payload, received_at=NOW)

    assert pack.spool == Spool("urn:dev:mac:0024befffe804ff1", "00c0ffee", 7)
    assert [record.name for record in pack.records] == ["a"]
    assert not pack.relative


def test_a_pack_may_hold_its_spool_number_alone():
    pack = decode_pack(b'[{"n":"urn:dev:os:1:spool:00000000","u":"count","v":0}]', received_at=NOW)

    assert pack.records == ()
    assert pack.spool == Spool("urn:dev:os:1", "00000000", 0)


@pytest.mark.parametrize(
    ("record", "label"),
    [
        (b'{"n":"g:spool:C0FFEE00","u":"count","v":1}', "n"),
        (b'{"n":"g:spool:c0ffee","u":"count","v":1}', "n"),
        (b'{"n":"g:spool:00c0ffee","v":1}', "u"),
        (b'{"n":"g:spool:00c0ffee","u":"Cel","v":1}', "u"),
        (b'{"n":"g:spool:00c0ffee","u":"count","v":-1}', "v"),
        (b'{"n":"g:spool:00c0ffee","u":"count","v":1.5}', "v"),
        (b'{"n":"g:spool:00c0ffee","u":"count","v":1e300}', "v"),
        (b'{"n":"g:spool:00c0ffee","u":"count","vb":true}', "v"),
        (b'{"n":"g:spool:00c0ffee","u":"count","vs":"1"}', "v"),
    ],
)
def test_a_wrong_spool_number_is_refused(record: bytes, label: str):
    with pytest.raises(WireError) as refusal:
        decode_pack(b"[" + record + b"]", received_at=NOW)

    assert refusal.value.field == f"0.{label}"


def test_a_second_spool_number_is_refused():
    one = b'{"n":"g:spool:00c0ffee","u":"count","v":1}'

    with pytest.raises(WireError, match="second spool number"):
        decode_pack(b"[" + one + b"," + one + b"]", received_at=NOW)


def test_the_spool_record_is_written_as_the_contract_says():
    payload = encode_pack(
        [Record("urn:dev:ow:10e2073a01080063:temp", "Cel", -7.0, 1_770_000_000.0)],
        spool=Spool("urn:dev:os:32473-7", "00c0ffee", 12),
    )

    assert payload == (
        b'[{"n":"urn:dev:os:32473-7:spool:00c0ffee","u":"count","v":12},'
        b'{"bt":1770000000,"bu":"Cel","n":"urn:dev:ow:10e2073a01080063:temp","v":-7.0}]'
    )


@pytest.mark.parametrize(
    ("record", "field"),
    [
        (Record("", "Cel", 1.0, NOW), "0.n"),
        (Record("g:spool:00c0ffee", "count", 1.0, NOW), "0.n"),
        (Record("a", "Cel", float("nan"), NOW), "0.v"),
        (Record("a", "Cel", 1.0, float("inf")), "0.t"),
        (Record("a", "Cel", 1.0, 2.0**28 - 1), "0.t"),
        (Record("a", "Cel", None, NOW), "0.v"),
        (Record("a", "Cel", None, NOW, float("inf")), "0.s"),
    ],
)
def test_what_senml_cannot_say_is_not_written(record: Record, field: str):
    with pytest.raises(WireError) as refusal:
        encode_pack([record])

    assert refusal.value.field == field
