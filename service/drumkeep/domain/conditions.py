"""Conditions of a drum: what its memory, its pressure and people's looks amount to."""

from enum import StrEnum
from typing import Final

import numpy as np

from drumkeep.domain.liquid_agent import agent_loss
from drumkeep.domain.liquid_pressure import WARN_OFF_KPA
from drumkeep.domain.liquid_state import NEVER, LiquidStates, Solids
from drumkeep.domain.products import Product, Side


class Condition(StrEnum):
    """The trade's words; an empty set of them is ``clear``."""

    SEEDING_RISK = "seeding_risk"
    SOLIDS_SUSPECTED = "solids_suspected"
    REDISSOLVING = "redissolving"
    GASSING = "gassing"
    AGENT_LOSS_SUSPECTED = "agent_loss_suspected"
    PRESSURE = "pressure"
    OVERPRESSURE = "overpressure"
    BULGED = "bulged"


CLEAR: Final = "clear"

GRAVEST_FIRST: Final = (
    Condition.BULGED,
    Condition.OVERPRESSURE,
    Condition.PRESSURE,
    Condition.SOLIDS_SUSPECTED,
    Condition.REDISSOLVING,
    Condition.AGENT_LOSS_SUSPECTED,
    Condition.GASSING,
    Condition.SEEDING_RISK,
)
"""Of several that a drum has, the first is what it is said to have."""


def conditions_of(
    states: LiquidStates,
    *,
    product: Product,
    bottom_low_c: float,
    mean_c: float,
    pressure_kpa: float | None = None,
) -> frozenset[Condition]:
    """Return the conditions of one drum.

    Parameters
    ----------
    states
        Its record, shape (1,).
    product
        Its product.
    bottom_low_c, mean_c
        Low bottom and likely mean, °C; NaN where unknown.
    pressure_kpa
        Computed gauge pressure, None where unknown.
    """
    state = states[0]
    found = set()
    if product.side is Side.ISO:
        if bottom_low_c < product.limits.seed_c:
            found.add(Condition.SEEDING_RISK)
        if state["solids"] == Solids.SUSPECTED:
            found.add(Condition.SOLIDS_SUSPECTED)
        if state["solids"] == Solids.SEEN:
            warming = state["warm_steps"] > 0 or state["redissolved"]
            found.add(Condition.REDISSOLVING if warming else Condition.SOLIDS_SUSPECTED)
    elif state["gas_since"] != NEVER or mean_c > product.limits.gassing_c:
        found.add(Condition.GASSING)
    agent = agent_loss(states, product=product)
    if agent is not None and agent.suspected:
        found.add(Condition.AGENT_LOSS_SUSPECTED)
    found |= kept_off_by(
        bulged=bool(state["bulged"]),
        overpressure=bool(state["overpressure"]),
        pressure_kpa=pressure_kpa,
    )
    return frozenset(found)


KEPT_OFF: Final = frozenset({Condition.BULGED, Condition.OVERPRESSURE, Condition.PRESSURE})
"""What has one of these is neither opened nor moved; its own order stands before all others."""


def kept_off_by(
    *, bulged: bool, overpressure: bool, pressure_kpa: float | None
) -> frozenset[Condition]:
    """Return which of :data:`KEPT_OFF` a drum has.

    ``pressure_kpa`` is gauge, None where unknown. It counts from where its alarm would still be
    open: a drum whose alarm stands must not be told of as one to open or move.
    """
    found = {Condition.BULGED} if bulged else set()
    if overpressure:
        found.add(Condition.OVERPRESSURE)
    elif pressure_kpa is not None and pressure_kpa > WARN_OFF_KPA:
        found.add(Condition.PRESSURE)
    return frozenset(found)


def was_cold(states: LiquidStates, *, product: Product) -> tuple[float, float] | None:
    """Return the lasting mark of one iso drum: coldest °C and hours under the seeding limit."""
    state = states[0]
    hours = float(state["cold_total_steps"]) / 12.0
    coldest = float(state["coldest_c"])
    if product.side is not Side.ISO or not np.isfinite(coldest):
        return None
    if hours == 0.0 and coldest >= product.limits.seed_c:
        return None
    return coldest, hours
