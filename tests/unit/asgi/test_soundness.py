"""What no field could mean is found wherever it stands."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.asgi.soundness import DEEPEST, LONGEST, json_fault


def nested(depth):
    value: object = "end"
    for _ in range(depth):
        value = [value]
    return value


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"note": "a\x00b"}, "note"),
        ({"note": "\ud800"}, "note"),
        ({"a": [{"b": "\udfff"}]}, "a.0.b"),
        ({"a\x00": 1}, "a\x00"),
        ({"n": 2**63}, "n"),
        ({"n": -(2**63) - 1}, "n"),
        ([1, 2, math.nan], "2"),
        ([math.inf], "0"),
        ({"t": "x" * (LONGEST + 1)}, "t"),
        ("\x00", ""),
    ],
)
def test_the_fault_names_where_it_stands(data, field):
    fault = json_fault(data)

    assert fault is not None
    assert fault.field == field


def test_nesting_ends_somewhere():
    assert json_fault(nested(DEEPEST)) is None
    assert json_fault(nested(DEEPEST + 1)) is not None


sound = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(max_size=3).filter(lambda key: "\x00" not in key and key.isprintable()),
            inner,
            max_size=4,
        )
    ),
    max_leaves=20,
)


@given(sound)
def test_ordinary_json_is_let_through(data):
    assert json_fault(data) is None
