"""What rigs and sheds use up beside the drums: how much is in hand after each entry."""

from enum import StrEnum
from typing import Final

from drumkeep.errors import Fault, Invalid

MOST: Final = 100_000.0
_DIGITS: Final = 3


class ConsumableKind(StrEnum):
    """What it is; each has its own caution."""

    NITROGEN = "nitrogen"
    DESICCANT = "desiccant"
    LUBRICANT = "pump_lubricant"
    OTHER = "other"


class Deed(StrEnum):
    """What somebody did; ``counted`` says how much there is."""

    TOOK = "took"
    ADDED = "added"
    COUNTED = "counted"


def in_hand_after(in_hand: float | None, *, deed: Deed, quantity: float) -> float:
    """Return how much is there after an entry.

    Parameters
    ----------
    in_hand
        How much was there; None before the first entry.
    deed, quantity
        What was done, with how much.

    Raises
    ------
    Invalid
        The quantity cannot be, or more is taken than is there.
    """
    least = 0.0 if deed is Deed.COUNTED else 10.0**-_DIGITS
    if not least <= quantity <= MOST:
        mend = f"Give a number from {least:g} to {MOST:,.0f}."
        raise Invalid(
            "That is no quantity.", [Fault("quantity", quantity, "is out of range", mend)]
        )
    if deed is Deed.COUNTED:
        return round(quantity, _DIGITS)
    there = in_hand or 0.0
    left = round(there + (quantity if deed is Deed.ADDED else -quantity), _DIGITS)
    if left < 0.0:
        raise Invalid(
            "So much is not there.",
            [
                Fault(
                    "quantity",
                    quantity,
                    f"is more than the {there:g} on record",
                    "Count what is there first, then record what was taken.",
                )
            ],
        )
    if left > MOST:
        mend = f"At most {MOST:,.0f} fit on record: count what is there."
        raise Invalid("That is too much.", [Fault("quantity", quantity, "is too much", mend)])
    return left


def is_low(in_hand: float | None, *, minimum: float | None) -> bool:
    """Whether less is there than should be; what nobody ever counted is."""
    return minimum is not None and (in_hand is None or in_hand < minimum)
