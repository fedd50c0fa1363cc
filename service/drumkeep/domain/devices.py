"""What gateways and sensors say of themselves: how full a battery is, how well one is heard.

The limits are common practice, no source: makers give none that holds for all. Volts have no limit
here, since a full cell of one kind says what an empty one of another does.
"""

from typing import Final

from drumkeep.domain.sensors import Quantity

LOW_PERCENT: Final = 20.0
"""A battery at or under this is low."""

REFILLED_PERCENT: Final = 25.0
"""One that was low is so until it is above this: a cold night alone moves a battery by a few."""

WEAK_DBW: Final = -110.0
"""Heard at or under this (-80 dBm), packets begin to be lost."""

_DBM_OF_0_DBW: Final = 30.0
_MINUS: Final = "\N{MINUS SIGN}"


def bearer(name: str) -> str:
    """Return the device that a SenML name is of: what stands before its last part.

    A part begins with ``:``, as in the examples of RFC 8428, or with ``_`` (RFC 9039, section 3).
    """
    return name[: max(name.rfind(":"), name.rfind("_"), 0)]


def is_low(quantity: Quantity, value: float) -> bool:
    """Whether a battery is low, or a device hardly heard."""
    return (quantity is Quantity.BATTERY and value <= LOW_PERCENT) or (
        quantity is Quantity.SIGNAL and value <= WEAK_DBW
    )


def said(value: float, *, quantity: Quantity) -> str:
    """Write a value as people read it: signals in dBm, as devices show them."""
    match quantity:
        case Quantity.BATTERY:
            return f"{value:.0f} %"
        case Quantity.SIGNAL:
            return f"{value + _DBM_OF_0_DBW:.0f} dBm".replace("-", _MINUS)
        case _:
            return f"{value:.2f} V"
