"""How much is in hand after taking, adding and counting."""

import pytest

from drumkeep.domain.consumables import Deed, in_hand_after, is_low
from drumkeep.errors import Invalid


def test_entries_one_after_another():
    hand = in_hand_after(None, deed=Deed.ADDED, quantity=3.0)
    hand = in_hand_after(hand, deed=Deed.TOOK, quantity=0.5)
    assert hand == 2.5
    assert in_hand_after(hand, deed=Deed.COUNTED, quantity=2.0) == 2.0
    assert in_hand_after(hand, deed=Deed.TOOK, quantity=2.5) == 0.0
    assert in_hand_after(0.3, deed=Deed.TOOK, quantity=0.1) == 0.2  # as people subtract


@pytest.mark.parametrize(
    ("hand", "deed", "quantity"),
    [
        (2.0, Deed.TOOK, 2.5),
        (None, Deed.TOOK, 1.0),
        (2.0, Deed.TOOK, 0.0),
        (2.0, Deed.ADDED, -1.0),
        (2.0, Deed.COUNTED, -1.0),
        (2.0, Deed.COUNTED, float("nan")),
        (99_999.0, Deed.ADDED, 2.0),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(hand, deed, quantity):
    with pytest.raises(Invalid) as caught:
        in_hand_after(hand, deed=deed, quantity=quantity)
    (fault,) = caught.value.faults
    assert fault.field == "quantity"
    assert fault.mend


def test_low_is_under_the_minimum_or_never_counted():
    assert is_low(1.9, minimum=2.0)
    assert not is_low(2.0, minimum=2.0)
    assert is_low(None, minimum=2.0)
    assert not is_low(None, minimum=None)
