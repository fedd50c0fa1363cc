"""Tags: what is taken, what is refused, and that one slip is always found."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain import tags
from drumkeep.domain.tags import ALPHABET
from drumkeep.errors import Invalid

made = st.integers().map(lambda seed: tags.make(random.Random(seed)))  # noqa: S311


def luhn_mod_10(digits: str) -> str:
    """Check digit by the textbook form of Luhn's algorithm (ISO/IEC 7812-1 annex B)."""
    total = 0
    for place, digit in enumerate(reversed(digits)):
        doubled = int(digit) * 2 if place % 2 == 0 else int(digit)
        total += doubled - 9 if doubled > 9 else doubled
    return str(-total % 10)


def test_the_check_is_luhn_with_the_radix_of_the_alphabet(monkeypatch):
    # With ten digits for an alphabet it must give the check digits of payment cards.
    # 7992739871 -> 3 is the worked example of the algorithm that texts commonly print.
    monkeypatch.setattr(tags, "ALPHABET", "0123456789")
    monkeypatch.setattr(tags, "_VALUES", {str(digit): digit for digit in range(10)})

    assert tags.check_symbol("7992739871") == "3"
    for number in range(0, 10**5, 7):
        assert tags.check_symbol(str(number)) == luhn_mod_10(str(number))


def test_the_alphabet_has_no_symbols_that_look_alike():
    assert len(set(ALPHABET)) == 32
    assert set("0O1I").isdisjoint(ALPHABET)


@pytest.mark.parametrize("typed", ["K7Q-X4M", "k7q-x4m", "K7QX4M", " k7q x4m ", "k7-qx-4m"])
def test_a_tag_is_taken_as_people_type_it(typed):
    assert tags.parse(typed) == "K7Q-X4M"


@pytest.mark.parametrize(
    ("typed", "problem"),
    [
        ("", "0 symbols"),
        ("K7Q-X4", "5 symbols"),
        ("K7Q-X4MM", "7 symbols"),
        ("K7Q-X40", "'0'"),
        ("O7Q-X4M", "'O'"),
        ("K7Q-X4Ä", "'Ä'"),
        ("K7Q-X4N", "does not add up"),
    ],
)
def test_what_is_no_tag_is_refused_with_what_is_wrong(typed, problem):
    with pytest.raises(Invalid) as refused:
        tags.parse(typed, field="drum")

    (fault,) = refused.value.faults
    assert fault.field == "drum"
    assert fault.value == typed
    assert problem in fault.problem
    assert fault.mend.endswith(".")


@given(made)
def test_what_is_made_is_a_tag_as_it_is_written(tag):
    assert tags.parse(tag) == tag
    assert len(tag) == 7
    assert tag[3] == "-"


@given(made, st.integers(0, 5), st.sampled_from(ALPHABET))
def test_one_wrong_symbol_is_always_found(tag, place, symbol):
    symbols = tag.replace("-", "")
    wrong = symbols[:place] + symbol + symbols[place + 1 :]

    if wrong != symbols:
        with pytest.raises(Invalid):
            tags.parse(wrong)


def test_only_one_pair_of_neighbours_can_be_swapped_unseen():
    # Luhn mod N misses the swap of first and last symbol of the alphabet alone (for N = 10: 09/90).
    unseen = {
        first + second
        for first in ALPHABET
        for second in ALPHABET
        if first < second
        and tags.check_symbol(f"AA{first}{second}A") == tags.check_symbol(f"AA{second}{first}A")
    }

    assert len(unseen) <= 1
