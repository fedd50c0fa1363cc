"""What devices call their units, and which of those words stand for a unit that is stored."""

from typing import Final

from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.domain.sensors import SENT

FAHRENHEIT: Final = "F"

_WORDS: Final = {
    **{unit.lower(): unit for unit in SENT},
    **dict.fromkeys(("c", "°c", "℃", "degc", "deg c", "celsius"), "Cel"),
    **dict.fromkeys(("f", "°f", "℉", "degf", "deg f", "fahrenheit"), FAHRENHEIT),
    "kelvin": "K",
    **dict.fromkeys(("%", "rh", "% rh"), "%RH"),
    "w/m²": "W/m2",
}


def unit_meant(word: object) -> str | None:
    """Return the SenML unit that a device's word stands for, or ``F``; None if it is no such word.

    Case does not count.
    """
    return _WORDS.get(word.strip().lower()) if isinstance(word, str) else None


def as_sent(value: float, unit: str) -> tuple[float, str]:
    """Return a value and its unit as SenML has them: it knows no °F."""
    if unit == FAHRENHEIT:
        return celsius_from_fahrenheit(value), "Cel"
    return value, unit
