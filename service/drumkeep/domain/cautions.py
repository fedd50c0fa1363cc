"""Cautions: said wherever somebody may heat, open, agitate or move a drum.

Common practice, no source; they defer to the safety data sheet, the supplier and local codes.
"""

from datetime import datetime
from typing import Final

from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.filling import too_full_caution
from drumkeep.domain.heaters import heating_cautions
from drumkeep.domain.liquid_pressure import NOTE_KPA, VACUUM_KPA
from drumkeep.domain.products import Product, Side
from drumkeep.domain.un_mark import UnMark
from drumkeep.domain.wording import pressure, temperature
from drumkeep.thermal.headspace import HOT_C

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
CAUTION_TOO_HOT: Final = (
    "Over its maximum: pressure builds, and hot liquid can react or decompose and make more heat "
    "and gas. Stop heating, do not open or move it, keep away."
)
CAUTION_AGITATE: Final = "Agitate with the small bung vented."
CAUTION_WET: Final = "It sweats in this air: wipe the head dry before a bung is turned."
CAUTION_COLD: Final = "Near or under its seeding limit: keep it from getting colder."


def cautions_of(
    *,
    product: Product,
    facts: DrumFacts,
    conditions: frozenset[Condition],
    pressure_kpa: float | None,
    hot_kpa: float | None = None,
    now: datetime | None = None,
) -> list[str]:
    """Return the cautions of a drum as it stands, danger first.

    Parameters
    ----------
    product
        Says the side, and how the liquid expands.
    facts
        How full it is, and its UN mark.
    conditions
        What its memory and pressure amount to.
    pressure_kpa
        Computed gauge pressure; None where unknown.
    hot_kpa
        The same at 55 °C, as it is filled; None where that was not asked.
    now
        The present, UTC: whether its heater is still on.
    """
    danger, others = [], []
    if {Condition.OVERPRESSURE, Condition.PRESSURE} & conditions:
        danger.append(CAUTION_PRESSURE)
    if Condition.BULGED in conditions:
        danger.append(CAUTION_BULGED)
    if product.side is Side.ISO:
        others.append(CAUTION_ISO)
    if Condition.GASSING in conditions:
        others.append(CAUTION_GASSING)
    if Condition.SEEDING_RISK in conditions:
        others.append(CAUTION_COLD)
    if pressure_kpa is not None and CAUTION_PRESSURE not in danger:
        others += _of_pressure(pressure_kpa)
    if now is not None:
        others += heating_cautions(facts.heater, maximum_c=product.limits.maximum_c, now=now)
    too_full = too_full_caution(product, net_kg=facts.net_kg)
    if too_full is not None:
        others.append(too_full)
    else:
        others += _of_mark(facts.un_mark, hot_kpa)
    return danger + others


def _of_mark(mark: UnMark | None, hot_kpa: float | None) -> list[str]:
    """Tell of a drum that would be over two thirds of its test pressure at 55 °C."""
    if mark is None or hot_kpa is None or hot_kpa <= mark.gauge_55_kpa:
        return []
    text = (
        f"At {temperature(HOT_C)} this drum would be at {pressure(hot_kpa)} as it is filled, over "
        f"two thirds of its mark's test pressure ({pressure(mark.gauge_55_kpa)}): keep it cool, "
        "and ask the supplier and the drum's maker before it is shipped."
    )
    return [text]


def _of_pressure(kpa: float) -> list[str]:
    """Tell of pressure or vacuum before somebody turns a bung; the model errs high."""
    said = pressure(kpa)
    if kpa >= NOTE_KPA:
        return [f"Computed pressure {said}: let it hiss out by the small bung first."]
    if kpa <= VACUUM_KPA:
        text = (
            f"It pulls a vacuum ({said}) and would draw wet air in: crack the small bung under dry "
            "gas. A dented head may spring back."
        )
        return [text]
    return []
