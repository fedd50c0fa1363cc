"""What a sensor may be called, measure, and be mounted to measure."""

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from drumkeep.domain.quantities import ZERO_C_IN_K
from drumkeep.errors import Fault


class Quantity(StrEnum):
    """What a sensor measures, as physics."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    IRRADIANCE = "irradiance"
    BATTERY = "battery"
    VOLTAGE = "voltage"
    SIGNAL = "signal"


UNITS: Final = {
    Quantity.TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%RH",
    Quantity.IRRADIANCE: "W/m2",
    Quantity.BATTERY: "%EL",
    Quantity.VOLTAGE: "V",
    Quantity.SIGNAL: "dBW",
}
"""SenML units (RFC 8428 section 12.1); it has neither °F nor psi, so gateways convert."""

OF_A_DEVICE: Final = frozenset({Quantity.BATTERY, Quantity.VOLTAGE, Quantity.SIGNAL})
"""What tells of a gateway or of a sensor itself: it hangs nowhere and no drum is computed by it."""


@dataclass(frozen=True, slots=True)
class SentUnit:
    """A unit that may be sent: stored is ``factor`` x sent + ``offset``, in the quantity's own."""

    quantity: Quantity
    factor: float = 1.0
    offset: float = 0.0


SENT: Final = {
    **{unit: SentUnit(quantity) for quantity, unit in UNITS.items()},
    "K": SentUnit(Quantity.TEMPERATURE, offset=-ZERO_C_IN_K),
    "mV": SentUnit(Quantity.VOLTAGE, factor=1e-3),
    "dBm": SentUnit(Quantity.SIGNAL, offset=-30.0),
}
"""Units that are taken: the stored ones, kelvin (RFC 8428), and the secondary units mV and dBm
(RFC 8798, section 3)."""


class What(StrEnum):
    """What a mounted sensor measures, as the trade sees it."""

    AIR = "air"
    FLOOR = "floor"
    SKIN = "skin"
    LIQUID = "liquid"
    HUMIDITY = "humidity"
    SUN = "sun"


MEASURED: Final = {
    What.AIR: Quantity.TEMPERATURE,
    What.FLOOR: Quantity.TEMPERATURE,
    What.SKIN: Quantity.TEMPERATURE,
    What.LIQUID: Quantity.TEMPERATURE,
    What.HUMIDITY: Quantity.HUMIDITY,
    What.SUN: Quantity.IRRADIANCE,
}

OF_A_DRUM: Final = frozenset({What.SKIN, What.LIQUID})
"""What is measured of a drum; the rest is measured of a place."""

NAME_LENGTH: Final = 160
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")


def may_send(registered: int | None, sender: int | None) -> bool:
    """Whether a sensor's readings are taken from this gateway, so that none speaks for another.

    Parameters
    ----------
    registered
        The id of the gateway that the sensor is connected to, if that is on record.
    sender
        The id of the gateway that sent them; None when a person did, whose right was looked at.
    """
    return registered is None or sender is None or registered == sender


def name_fault(name: str, *, field: str = "name") -> Fault | None:
    """Say what is wrong with a sensor's name by the rules of SenML (RFC 8428 section 4.5.1).

    Returns
    -------
    Fault | None
        None when the name may be used.
    """
    if len(name) <= NAME_LENGTH and _NAME.fullmatch(name):
        return None
    return Fault(
        field,
        name,
        "is no SenML name",
        "Start with a letter or digit, then letters, digits and - : . / _ only, at most "
        f"{NAME_LENGTH}; for instance urn:dev:ow:10e2073a01080063:temp.",
    )
