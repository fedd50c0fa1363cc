"""Cautions: said wherever somebody may heat, open, agitate or move a drum.

Common practice, no source; they defer to the safety data sheet, the supplier and local codes.
"""

from typing import Final

from drumkeep.domain.conditions import Condition
from drumkeep.domain.liquid_pressure import NOTE_KPA, VACUUM_KPA, WARN_KPA
from drumkeep.domain.products import Product, Side
from drumkeep.domain.wording import pressure

CAUTION_SHEET: Final = (
    "The safety data sheet, the supplier, local codes and licensed practice come first."
)
CAUTION_ISO: Final = "Isocyanate is a sensitiser: gloves, eyes, lungs."
CAUTION_BULGED: Final = "Bulged drum: do not move, do not open. Step away and call the manager."
CAUTION_PRESSURE: Final = "Pressurised drum: do not open or move it."
CAUTION_GASSING: Final = (
    "Resin this warm gives off blowing agent: cool it before opening, or vent slowly by the small "
    "bung with eyes and face covered."
)
CAUTION_HEATING: Final = (
    "Never heat a tight drum: relieve it under dry gas first, keep the liquid under its maximum."
)
CAUTION_AGITATE: Final = "Agitate with the small bung vented."
CAUTION_COLD: Final = "Near or under its seeding limit: keep it from getting colder."


def cautions_of(
    *, product: Product, conditions: frozenset[Condition], pressure_kpa: float | None
) -> list[str]:
    """Return the cautions of a drum as it stands, danger first.

    Parameters
    ----------
    product
        Says the side.
    conditions
        What its memory and pressure amount to.
    pressure_kpa
        Computed gauge pressure; None where unknown.
    """
    danger, others = [], []
    if Condition.OVERPRESSURE in conditions:
        danger.append(CAUTION_PRESSURE)
    if Condition.BULGED in conditions:
        danger.append(CAUTION_BULGED)
    if product.side is Side.ISO:
        others.append(CAUTION_ISO)
    if Condition.GASSING in conditions:
        others.append(CAUTION_GASSING)
    if Condition.SEEDING_RISK in conditions:
        others.append(CAUTION_COLD)
    if pressure_kpa is not None and Condition.OVERPRESSURE not in conditions:
        others += _of_pressure(pressure_kpa)
    return danger + others


def _of_pressure(kpa: float) -> list[str]:
    """Tell of pressure or vacuum before somebody turns a bung; the model errs high."""
    said = pressure(kpa)
    if kpa >= WARN_KPA:
        return [
            f"Computed pressure {said}: vent slowly by the small bung, face away, before opening."
        ]
    if kpa >= NOTE_KPA:
        return [f"Computed pressure {said}: let it hiss out by the small bung first."]
    if kpa <= VACUUM_KPA:
        return [
            f"It pulls a vacuum ({said}): crack the small bung under dry gas, not under wet air."
        ]
    return []
