"""What a sensor may be called, measure, and be mounted to measure."""

import re
from enum import StrEnum
from typing import Final

from drumkeep.errors import Fault


class Quantity(StrEnum):
    """What a sensor measures, as physics."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    IRRADIANCE = "irradiance"


UNITS: Final = {
    Quantity.TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%RH",
    Quantity.IRRADIANCE: "W/m2",
}
"""SenML units (RFC 8428 section 12.1); it has neither °F nor psi, so gateways convert."""


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
