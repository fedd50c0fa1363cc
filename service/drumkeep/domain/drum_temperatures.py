"""Which temperatures a drum of foam chemical can have, by whatever way somebody tells of them."""

from typing import Final

from drumkeep.errors import Fault, Invalid

LOWEST_C: Final = -40.0
"""Below what a yard in the northern states sees; -40 °C is -40 °F, so no unit is hidden in it."""

HIGHEST_C: Final = 60.0
"""140 °F: 10 K and more above what drums are stored or preheated to. Judgement, no source; what is
hotter is no drum that anybody should walk up to with a probe."""

_MEND: Final = "Give one from -40 °C to 60 °C; look whether it was read in °C or in °F."


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
