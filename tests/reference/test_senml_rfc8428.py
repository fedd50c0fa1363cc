"""RFC 8428: its published examples, in the form in which it prints them resolved.

Source of every pack and of every resolved record: the examples ex1, ex2, ex3, ex5, ex6, ex7 and
ex12 of the working group's repository, github.com/core-wg/senml-spec (``ex*.gen.json`` and
``ex*.gen.resolved.json``), printed in RFC 8428 section 5.1. Time limits: section 4.5.3. Names:
section 4.5.1. Labels: sections 4.3 and 4.4.
"""

from datetime import UTC, datetime

import pytest

from drumkeep_wire.errors import WireError
from drumkeep_wire.records import Record
from drumkeep_wire.senml import decode_pack

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC).timestamp()


def resolved(payload: str, *, now: float = NOW) -> list[tuple[str, str | None, object, float]]:
    pack = decode_pack(payload.encode(), received_at=now)
    return [(record.name, record.unit, record.value, record.time) for record in pack.records]


def test_a_single_datapoint_is_taken_now():
    payload = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'

    assert resolved(payload) == [("urn:dev:ow:10e2073a01080063", "Cel", 23.1, NOW)]


def test_two_datapoints_share_their_base_name():
    payload = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
      {"n":"current","u":"A","v":1.2}]"""

    # ex2.gen.resolved.json was resolved at this second.
    assert resolved(payload, now=1.495587631e09) == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1, 1.495587631e09),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1.2, 1.495587631e09),
    ]


def test_relative_times_of_a_base_time_and_an_older_version():
    payload = """[
      {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
       "n":"voltage","u":"V","v":120.1},
      {"n":"current","t":-5,"v":1.2},
      {"n":"current","t":-4,"v":1.3},
      {"n":"current","t":-3,"v":1.4},
      {"n":"current","t":-2,"v":1.5},
      {"n":"current","t":-1,"v":1.6},
      {"n":"current","v":1.7}]"""
    current = "urn:dev:ow:10e2073a0108006:current"

    # The RFC prints the voltage first although a resolved pack stands in order of time (4.6).
    assert resolved(payload) == [
        (current, "A", 1.2, 1.276020071001e09),
        (current, "A", 1.3, 1.276020072001e09),
        (current, "A", 1.4, 1.276020073001e09),
        (current, "A", 1.5, 1.276020074001e09),
        (current, "A", 1.6, 1.276020075001e09),
        ("urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, 1.276020076001e09),
        (current, "A", 1.7, 1.276020076001e09),
    ]
    assert decode_pack(payload.encode(), received_at=NOW).version == 5


def test_a_base_time_persists_and_a_base_name_is_replaced():
    payload = """[
      {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
      {"n":"humidity","u":"%RH","v":30},
      {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
      {"n":"humidity","u":"%RH","v":67}]"""

    assert resolved(payload) == [
        ("2001:db8::2/temperature", "Cel", 25.2, 1.320078429e09),
        ("2001:db8::2/humidity", "%RH", 30, 1.320078429e09),
        ("2001:db8::1/temperature", "Cel", 12.3, 1.320078429e09),
        ("2001:db8::1/humidity", "%RH", 67, 1.320078429e09),
    ]


def test_several_measurements_of_a_moving_device():
    payload = """[
      {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
      {"u":"lon","v":24.30621},
      {"u":"lat","v":60.07965},
      {"t":60,"v":20.3},
      {"u":"lon","t":60,"v":24.30622},
      {"u":"lat","t":60,"v":60.07965},
      {"t":120,"v":20.7},
      {"u":"lon","t":120,"v":24.30623},
      {"u":"lat","t":120,"v":60.07966},
      {"u":"%EL","t":150,"v":98},
      {"t":180,"v":21.2},
      {"u":"lon","t":180,"v":24.30628},
      {"u":"lat","t":180,"v":60.07967}]"""
    name = "urn:dev:ow:10e2073a01080063"

    assert resolved(payload) == [
        (name, "%RH", 20, 1.320067464e09),
        (name, "lon", 24.30621, 1.320067464e09),
        (name, "lat", 60.07965, 1.320067464e09),
        (name, "%RH", 20.3, 1.320067524e09),
        (name, "lon", 24.30622, 1.320067524e09),
        (name, "lat", 60.07965, 1.320067524e09),
        (name, "%RH", 20.7, 1.320067584e09),
        (name, "lon", 24.30623, 1.320067584e09),
        (name, "lat", 60.07966, 1.320067584e09),
        (name, "%EL", 98, 1.320067614e09),
        (name, "%RH", 21.2, 1.320067644e09),
        (name, "lon", 24.30628, 1.320067644e09),
        (name, "lat", 60.07967, 1.320067644e09),
    ]


def test_several_data_types():
    payload = """[
      {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
      {"n":"label","vs":"Machine Room"},
      {"n":"open","vb":false},
      {"n":"nfv-reader","vd":"aGkgCg"}]"""
    base = "urn:dev:ow:10e2073a01080063:"

    assert resolved(payload) == [
        (f"{base}temp", "Cel", 23.1, NOW),
        (f"{base}label", None, "Machine Room", NOW),
        (f"{base}open", None, False, NOW),
        (f"{base}nfv-reader", None, b"hi \n", NOW),
    ]


def test_two_lights_at_one_time():
    payload = """[
      {"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":1},
      {"n":"2001:db8::4","v":1}]"""

    assert resolved(payload) == [
        ("2001:db8::3", "/", 1, 1.320078429e09),
        ("2001:db8::4", "/", 1, 1.320078429e09),
    ]


@pytest.mark.parametrize(
    ("sent", "meant"),
    [
        (-5, NOW - 5),
        (0, NOW),
        (5, NOW + 5),
        (2**28 - 1, NOW + 268_435_455),
        (2**28, datetime(1978, 7, 4, 21, 24, 16, tzinfo=UTC).timestamp()),
    ],
)
def test_times_below_2_to_the_28_are_relative_to_now(sent: int, meant: float):
    pack = decode_pack(b'[{"n":"x","u":"Cel","v":1,"t":%d}]' % sent, received_at=NOW)

    assert pack.records[0].time == meant
    assert pack.relative == (sent < 2**28)


@pytest.mark.parametrize(
    "name", ["urn:dev:ow:10e2073a01080063:temp", "a", "0", "2001:db8::2/humidity", "A-Z.a_z"]
)
def test_a_name_of_the_allowed_characters_is_accepted(name: str):
    assert resolved(f'[{{"n":"{name}","v":1}}]')[0][0] == name


@pytest.mark.parametrize("name", ["", "_x", ":x", "/x", "-x", ".x", "x y", "x%", "å", "x#", "x\\n"])
def test_any_other_name_is_refused(name: str):
    with pytest.raises(WireError) as refusal:
        decode_pack(f'[{{"n":"a","v":1}},{{"n":"{name}","v":1}}]'.encode(), received_at=NOW)

    assert refusal.value.index == 1
    assert refusal.value.field == "1.n"


def test_what_starts_the_joined_name_is_what_counts():
    assert resolved('[{"bn":"a","n":"_x","v":1}]')[0][0] == "a_x"
    with pytest.raises(WireError):
        decode_pack(b'[{"bn":"_","n":"x","v":1}]', received_at=NOW)


def test_labels_that_must_be_understood_are_refused_and_others_ignored():
    assert resolved('[{"n":"a","v":1,"colour":"red","_x":1}]') == [("a", None, 1, NOW)]
    # The same label, its underscore once plain and once escaped.
    for label in ("colour_", "colour\\u005f"):
        with pytest.raises(WireError) as refusal:
            decode_pack(f'[{{"n":"a","v":1,"{label}":"red"}}]'.encode(), received_at=NOW)
        assert refusal.value.field == "0.colour_"
        assert refusal.value.value == '"red"'


def test_a_base_value_adds_to_numbers_only_and_a_base_sum_to_sums():
    payload = (
        b'[{"bn":"a","bv":10,"bs":100,"v":1.5},{"vs":"text"},{"vb":true},{"v":-1,"s":5},{"s":1}]'
    )

    pack = decode_pack(payload, received_at=NOW)

    assert [record.value for record in pack.records] == [11.5, "text", True, 9, None]
    assert [record.sum for record in pack.records] == [100, 100, 100, 105, 101]


def test_an_update_time_is_a_period_and_stays_as_it_is():
    payload = b'[{"bn":"a","bt":1320067464,"v":1,"ut":300}]'

    assert decode_pack(payload, received_at=NOW).records == (
        Record("a", None, 1, 1320067464, None, 300, 0),
    )
