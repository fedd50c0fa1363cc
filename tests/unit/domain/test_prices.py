"""Prices brought to a kilogram. A pound is 0.45359237 kg (exact, 1959)."""

import pytest

from drumkeep.domain.prices import Per, check_price, price_per_kg
from drumkeep.errors import Invalid


@pytest.mark.parametrize(
    ("amount", "per", "expected"),
    [
        (4.0, Per.KG, 4.0),
        (1.85, Per.LB, 1.85 / 0.45359237),
        (1000.0, Per.DRUM, 4.0),  # of 250 kg
    ],
)
def test_a_price_is_of_a_kilogram_a_pound_or_a_full_drum(amount, per, expected):
    assert price_per_kg(amount, per=per, full_kg=250.0) == pytest.approx(expected)


def test_no_price_is_no_fault_and_what_cannot_be_one_is_told():
    assert check_price(None, per="lb") is Per.LB
    for amount, per, field in ((0.0, "kg", "amount"), (-1.0, "kg", "amount"), (1.0, "t", "per")):
        with pytest.raises(Invalid) as caught:
            check_price(amount, per=per)
        assert [fault.field for fault in caught.value.faults] == [field]
    with pytest.raises(Invalid):
        check_price(float("nan"), per="kg")
