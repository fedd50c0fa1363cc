"""Which temperatures a drum of foam chemical can have, by whatever way somebody tells of them."""

from typing import Final

from drumkeep.errors import Fault, Invalid

LOWEST_C: Final = -40.0
"""Below what a yard in the northern states sees; -40 °C is -40 °F, so no unit is hidden in it."""

HIGHEST_C: Final = 95.0
"""203 °F: far above what drums are stored or heated to, so that a drum that a band heater or a fire
next door has overheated can be put on record. Judgement, no source."""

_MEND: Final = "Give one from -40 °C to 95 °C; look whether it was read in °C or in °F."


def impossible(c: float) -> tuple[str, str] | None:
    """Return what is wrong with a temperature of a drum, °C, and the mend; None where nothing."""
    if LOWEST_C <= c <= HIGHEST_C:
        return None
    if c > HIGHEST_C:
        return "is hotter than any drum of foam chemical", _MEND
    return "is colder than any drum of foam chemical", _MEND


def refuse_impossible(c: float | None, *, field: str) -> None:
    """Refuse a temperature that no drum has.

    Raises
    ------
    Invalid
        Naming the field.
    """
    wrong = None if c is None else impossible(c)
    if wrong is not None:
        raise Invalid("No drum is at that temperature.", [Fault(field, c, *wrong)])
