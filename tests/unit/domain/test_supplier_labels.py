"""Suppliers' labels in every form in which scanners and people give them.

GTIN 09506000134352, SSCC 106141412345678908: examples of GS1's own, their check digits by section
7.9 of the General Specifications; dates, weights and temperatures by section 3.
"""

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.supplier_labels import LONGEST, SupplierLabel, read_label
from drumkeep.errors import Invalid

GTIN = "09506000134352"
FULL = SupplierLabel(
    gtin=GTIN, lot="AB-123", made_on=date(2026, 1, 13), expires_on=date(2026, 12, 31), serial="7"
)
ELEMENTS = (f"01{GTIN}", "11260113", "17261231", "10AB-123", "217")


@pytest.mark.parametrize(
    "text",
    [
        "\x1d".join(ELEMENTS),
        "]C1" + "".join(ELEMENTS[:4]) + "\x1d" + ELEMENTS[4],
        "]d2" + "\x1d".join(ELEMENTS),
        "]Q3" + "".join(ELEMENTS[:4]) + "^]" + ELEMENTS[4],
        "\x1d" + "".join(ELEMENTS[:4]) + "\x1d" + ELEMENTS[4] + "\r\n",
        "".join(ELEMENTS[:4]) + "<GS>" + ELEMENTS[4],
        "".join(ELEMENTS[:4]) + "|" + ELEMENTS[4],
        "".join(ELEMENTS[:4]) + " " + ELEMENTS[4],
        f"(01){GTIN}(11)260113(17)261231(10)AB-123(21)7",
        f" (01) {GTIN} (11) 260113 (17) 261231 (10) AB-123 (21) 7 ",
        f"https://id.example.com/01/{GTIN}/10/AB-123/21/7?11=260113&17=261231",
    ],
)
def test_one_label_is_read_in_all_of_its_forms(text):
    assert read_label(text) == FULL


@pytest.mark.parametrize(
    ("text", "kg"),
    [
        # Section 3.6: the fourth digit says how many of the six lie behind the point.
        ("3102024988", 249.88),
        ("3100000250", 250.0),
        ("3201005510", 551.0 * 0.45359237),
    ],
)
def test_net_weight_is_read_in_kilograms_and_pounds(text, kg):
    assert read_label(text).net_kg == pytest.approx(kg, abs=1e-9)


def test_temperatures_are_hundredths_of_either_degree_and_may_be_under_zero():
    label = read_label("(4330)007500(4333)000500-")
    assert label.highest_c == pytest.approx((75.0 - 32.0) / 1.8)
    assert label.lowest_c == pytest.approx(-5.0)


def test_date_without_a_day_is_the_beginning_when_made_and_the_end_when_it_expires():
    label = read_label("(11)260200(17)270200(15)270100")
    assert label.made_on == date(2026, 2, 1)
    assert label.expires_on == date(2027, 2, 28)
    assert label.last_day == date(2027, 1, 31)


def test_pallet_says_how_many_drums_of_which_number():
    label = read_label("(00)106141412345678908(02)09506000134352(37)8(10)2231")
    assert (label.sscc, label.gtin, label.count) == ("106141412345678908", GTIN, 8)


@pytest.mark.parametrize("text", [GTIN, "9506000134352", "]E09506000134352"])
def test_number_alone_is_a_trade_item(text):
    assert read_label(text) == SupplierLabel(gtin=GTIN)


@pytest.mark.parametrize(
    ("text", "lots"),
    [
        (f"01{GTIN}1022312100071", ("22312100071", "2231")),
        (f"01{GTIN}10AB12317261231", ("AB12317261231", "AB123")),
        # 26 characters cannot all be the lot, of which 20 is the most.
        (f"01{GTIN}10AB123456789017261231210007", ("AB1234567890",)),
    ],
)
def test_lost_separator_makes_a_lot_that_a_person_must_read(text, lots):
    label = read_label(text)
    assert set(lots) <= set(label.lots)
    assert (label.lot, label.serial) == (None, None)
    assert label.gtin == GTIN


def test_lot_at_the_end_is_whole_if_nothing_could_hide_in_it():
    assert read_label(f"01{GTIN}10AB-9").lot == "AB-9"
    assert read_label(f"(01){GTIN}(10)2231210007").lot == "2231210007"


def test_brackets_within_a_typed_lot_stay():
    assert read_label("(10)A(B)C(21)5").lot == "A(B)C"


@pytest.mark.parametrize(
    ("text", "field", "problem"),
    [
        ("(01)09506000134353", "label.gtin", "check digit"),
        ("(00)106141412345678907", "label.sscc", "check digit"),
        ("(11)260230", "label", "date"),
        ("(17)261301", "label", "(17)"),
        ("hello", "label", "no GS1 label"),
        ("", "label", "is empty"),
        ("1" * (LONGEST + 1), "label", "characters"),
        ("]A0K7Q", "label", "another kind"),
        ("(10)A(10)B", "label", "two things"),
        ("https://drums.example/d/K7Q-X4M", "label", "one of our own"),
        ("(01)09506000134352 and more", "label", "(01)"),
        ("(9)1", "label", "follows"),
    ],
)
def test_what_is_wrong_is_told_with_its_mend(text, field, problem):
    with pytest.raises(Invalid) as caught:
        read_label(text)
    (fault,) = caught.value.faults
    assert fault.field == field
    assert problem in fault.problem
    assert fault.mend.endswith(".")


@given(st.text(max_size=60) | st.from_regex(r"(\]C1)?(01|10|17|21|310\d)[0-9A-Z()\x1d|]{0,40}"))
def test_any_text_is_read_or_refused(text):
    with suppress(Invalid):
        label = read_label(text)
        assert label.gtin is None or len(label.gtin) == 14
