"""What is written as a pack is read back as it was; what is no pack is refused and nothing else."""

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from drumkeep_wire.errors import WireError
from drumkeep_wire.records import FIRST_ABSOLUTE_S, HIGHEST_NUMBER, Record, Spool
from drumkeep_wire.senml import decode_pack, encode_pack

names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,40}", fullmatch=True).filter(
    lambda name: ":spool:" not in name
)
numbers = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(st.characters(exclude_categories=["Cs"]))
whole_seconds = st.integers(int(FIRST_ABSOLUTE_S), HIGHEST_NUMBER).map(float)
records = st.builds(
    Record,
    name=names,
    unit=st.none() | texts,
    value=numbers | texts | st.booleans() | st.binary(),
    time=whole_seconds | st.floats(FIRST_ABSOLUTE_S, 1e12),
    sum=st.none() | numbers,
    update_time=st.none() | numbers,
)
spools = st.builds(
    Spool,
    gateway=names,
    file=st.from_regex(r"[0-9a-f]{8}", fullmatch=True),
    number=st.integers(0, HIGHEST_NUMBER),
)


def same(left: Record, right: Record) -> bool:
    # 1 == True to Python, and not to SenML.
    return left == right and type(left.value) is type(right.value)


@given(st.lists(records, min_size=1, max_size=8), st.none() | spools)
def test_a_pack_is_read_back_as_it_was_written(sent: list[Record], spool: Spool | None):
    ordered = sorted(sent, key=lambda record: record.time)

    pack = decode_pack(encode_pack(ordered, spool=spool), received_at=0.0)

    assert pack.spool == spool
    assert not pack.relative
    first = 0 if spool is None else 1
    expected = [
        Record(r.name, r.unit, r.value, r.time, r.sum, r.update_time, first + place)
        for place, r in enumerate(ordered)
    ]
    assert len(pack.records) == len(expected)
    assert all(map(same, pack.records, expected))


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | numbers | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)
labels = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_"]
)


@given(st.binary() | st.binary().map(lambda middle: b'[{"n":"a","v":1' + middle + b"}]"))
def test_any_octets_are_read_or_refused(payload: bytes):
    try:
        decode_pack(payload, received_at=0.0)
    except WireError as refusal:
        assert refusal.problem  # noqa: PT017 - either way is right, a crash is not


@given(st.lists(st.dictionaries(labels, json_values, max_size=5), max_size=5))
def test_any_labels_are_read_or_refused(pack: list[dict[str, object]]):

    try:
        decode_pack(msgspec.json.encode(pack), received_at=0.0)
    except WireError as refusal:
        assert refusal.index is None or refusal.index < len(pack)  # noqa: PT017
