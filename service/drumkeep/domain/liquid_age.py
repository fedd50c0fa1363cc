"""How old the liquid of a drum is: by the calendar, and by the heat it went through.

Heat shortens a shelf life; cold never lengthens it beyond the date. What nobody measured, the time
before the receipt above all, counts as spent at the product's reference temperature.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from math import floor
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_SECONDS, moment_of, step_at
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.products import Product
from drumkeep.thermal.ageing import UNIT_C, ageing_rate, kinetic_temperature_c

Floats = NDArray[np.float64]

STEPS_PER_DAY: Final = 86_400 // STEP_SECONDS


@dataclass(frozen=True)
class LotLife:
    """When a drum's lot was made and expires by its date, as grid steps; ``lot`` is its id."""

    lot: int
    made: int
    expires: int


@dataclass(frozen=True)
class Age:
    """Age of what is in a drum, the oldest and warmest of it, on a day.

    ``expires_at`` is by the date alone, ``ends_at`` with what heat took off; ``counted_days`` are
    those whose temperature is known, ``mkt_c`` their mean kinetic temperature (°C). No heat takes
    off more than the whole life.
    """

    made_at: datetime
    expires_at: datetime
    ends_at: datetime
    days: float
    equivalent_days: float
    life_days: float
    counted_days: float
    mkt_c: float | None
    reference_c: float


def lot_life(product: Product, *, lot: int, made_on: date, expires_on: date | None) -> LotLife:
    """Return a lot's dates on the grid."""
    expires_at = product.expires_at(made_on=made_on, expires_on=expires_on)
    made_at = datetime.combine(made_on, time(), tzinfo=UTC)
    return LotLife(lot=lot, made=step_at(made_at), expires=step_at(expires_at))


def begin_age(
    states: LiquidStates,
    *,
    life: LotLife | None,
    product: Product,
    receipt: Mapping[str, Any],
    step: int,
) -> None:
    """Give a drum just received its dates, in place: the older of its lot's and its own.

    Parameters
    ----------
    states
        Its record, shape (1,).
    life
        Its lot's dates; without them it counts as made when it came.
    product
        Gives the shelf life then.
    receipt
        What the receipt told; ``made_on`` is the day on the drum's own label.
    step
        When it came.
    """
    if life is None:
        shelf = round(product.limits.shelf_life_days * STEPS_PER_DAY)
        life = LotLife(lot=0, made=step, expires=step + shelf)
    made, expires = life.made, life.expires
    if receipt.get("made_on") is not None:
        own = step_at(datetime.combine(date.fromisoformat(receipt["made_on"]), time(), tzinfo=UTC))
        if own < made:  # a shelf life runs from the day it was made
            made, expires = own, expires - (made - own)
    states["made_step"] = min(made, step)
    states["expires_step"] = expires
    states["age_steps"] = 0
    states["age_sum"] = 0.0
    states["mixed_lots"] = False


def grow_older(states: LiquidStates, *, mean_c: Floats) -> None:
    """Let one step pass at the likely mean of each drum, °C, in place."""
    states["age_steps"] += 1
    states["age_sum"] += ageing_rate(mean_c)


def heat_excess(states: LiquidStates, *, product: Product) -> Floats:
    """Return the steps by which heat made each drum older than its date; negative for cold."""
    scale = ageing_rate(UNIT_C, reference_c=product.limits.age_reference_c)
    return np.asarray(states["age_sum"] * scale - states["age_steps"], dtype=np.float64)


def age_of(states: LiquidStates, *, product: Product, step: int) -> Age:
    """Return the age of one drum, shape (1,), at a step."""
    state = states[0]
    made, expires, counted = (
        int(state[name]) for name in ("made_step", "expires_step", "age_steps")
    )
    excess = float(heat_excess(states, product=product)[0])
    taken = floor(min(max(excess, 0.0), max(expires - made, 0)))
    mkt = float(kinetic_temperature_c(state["age_sum"] / counted)) if counted else None
    return Age(
        made_at=moment_of(made),
        expires_at=moment_of(expires),
        ends_at=moment_of(expires - taken),
        days=(step - made) / STEPS_PER_DAY,
        equivalent_days=(step - made + excess) / STEPS_PER_DAY,
        life_days=(expires - made) / STEPS_PER_DAY,
        counted_days=counted / STEPS_PER_DAY,
        mkt_c=mkt,
        reference_c=product.limits.age_reference_c,
    )


def take_older(states: LiquidStates, *, other: LiquidStates, product: Product) -> None:
    """Let liquid of another drum come in: the worse of both dates and of both heats counts.

    A mean by mass would hide an old pail in a young drum. Both records have shape (1,).
    """
    if heat_excess(other, product=product)[0] > heat_excess(states, product=product)[0]:
        states["age_steps"], states["age_sum"] = other["age_steps"], other["age_sum"]
    states["made_step"] = np.minimum(states["made_step"], other["made_step"])
    states["expires_step"] = np.minimum(states["expires_step"], other["expires_step"])
