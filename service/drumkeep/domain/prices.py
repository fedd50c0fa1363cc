"""What liquid costs: prices as people say them, brought to one kilogram."""

from enum import StrEnum
from typing import Final

from drumkeep.domain.checks import Checks
from drumkeep.domain.quantities import LB_KG

HIGHEST: Final = 100_000.0
"""Of one unit: above it somebody has left out the point."""


class Per(StrEnum):
    """What a price is for: a mass, or a drum as full as its product's drums come."""

    KG = "kg"
    LB = "lb"
    DRUM = "drum"


def price_per_kg(amount: float, *, per: Per, full_kg: float) -> float:
    """Return what a kilogram costs, in the company's currency.

    Parameters
    ----------
    amount
        The price as said.
    per
        Of what.
    full_kg
        What a full drum of the product holds, kg.
    """
    return amount / {Per.KG: 1.0, Per.LB: LB_KG, Per.DRUM: full_kg}[per]


def check_price(amount: float | None, *, per: str) -> Per:
    """Return what a price is for.

    Raises
    ------
    Invalid
        The price or what it is for cannot be.
    """
    checks = Checks()
    if amount is not None and not 0.0 < amount <= HIGHEST:
        checks.add(
            "amount",
            amount,
            "is no price",
            f"Give more than 0, at most {HIGHEST:,.0f}; leave it empty where it is not known.",
        )
    found = checks.one_of("per", per, Per)
    checks.raise_faults("The price cannot be set.")
    assert found is not None  # noqa: S101 - else a fault was raised
    return found
