"""UN marks as people copy them from a drum: what is read, and what is refused and why."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.un_mark import MARK_LENGTH, parse
from drumkeep.errors import Invalid


@pytest.mark.parametrize(
    "text",
    [
        "UN 1A1/Y1.4/150/83/USA/ABC",
        "un 1a1 / y1.4 / 150 / 83 / usa",
        "UN1A1/Y1.4/150",
        "  1A1/Y1.4/150 kPa/26/D/0123/1.0/0.8/1.0",
        "1A1W/Y1.4/150",
    ],
)
def test_a_mark_is_read_however_it_is_spaced_and_whatever_follows(text):
    mark = parse(text)

    assert (mark.max_relative_density, mark.test_kpa, mark.head) == (1.4, 150.0, "closed")
    assert mark.text == " ".join(text.split())


@pytest.mark.parametrize(
    ("grade", "groups"),
    [("X1.8", ("I", "II", "III")), ("Y1.8", ("II", "III")), ("Z1.8", ("III",))],
)
def test_the_letter_says_for_which_packing_groups(grade, groups):
    assert parse(f"1A1/{grade}/300").packing_groups == groups


@pytest.mark.parametrize(
    ("code", "material", "head"),
    [
        ("1A2", "steel", "open"),
        ("1B1", "aluminium", "closed"),
        ("1N1", "other metal", "closed"),
        ("1H1", "plastics", "closed"),
    ],
)
def test_the_code_says_of_what_it_is_and_whether_its_head_comes_off(code, material, head):
    mark = parse(f"UN {code}/Y1.2/100")

    assert (mark.material, mark.head) == (material, head)


def test_a_mark_without_a_density_is_for_1_2():
    mark = parse("1A1/Y/150")

    assert (mark.max_relative_density, mark.density_marked) == (1.2, False)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no UN mark"),
        ("drum", "is no UN mark"),
        ("1A1/Y1.4", "is no UN mark"),
        ("1A1/Y1.4/150/" + "A" * MARK_LENGTH, "is no UN mark"),
        ("1A2/Y400/S/24/USA", "solids"),
        ("1A2/X340/S", "solids"),
        ("1A1/Q1.4/150", "packing group"),
        ("1A1/1.4/150", "packing group"),
        ("1A1/Y400/150", "relative density"),
        ("1A1/Y1.4/AB", "test pressure"),
        ("1A1/Y1.4/0", "test pressure"),
        ("1A1/Y1.4/9999", "test pressure"),
        ("3A1/Y1.4/150", "another packaging"),
        ("4G/Y30/100", "another packaging"),
        ("6HA1/Y1.4/150", "another packaging"),
        ("1G/Y1.2/100", "no drum for liquids"),
        ("1A3/Y1.4/150", "no drum for liquids"),
        ("A1/Y1.4/150", "kind of packaging"),
    ],
)
def test_what_is_no_mark_of_a_drum_for_liquids_is_refused(text, says):
    with pytest.raises(Invalid) as refused:
        parse(text, field="2.un_mark")

    (fault,) = refused.value.faults
    assert (fault.field, fault.value) == ("2.un_mark", text)
    assert says in fault.problem
    assert fault.mend.endswith(".")


@given(st.text(max_size=120))
def test_any_text_is_read_or_refused(text):
    with suppress(Invalid):
        mark = parse(text)
        assert 10.0 <= mark.test_kpa <= 1000.0
        assert len(mark.text) <= MARK_LENGTH
