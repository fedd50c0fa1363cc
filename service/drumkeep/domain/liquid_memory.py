"""What the liquid remembers: cold that seeds iso, warmth that redissolves, time beyond limits.

A heuristic on common practice, no source: no induction time for crystals in iso is published.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_HOURS
from drumkeep.domain.liquid_state import NEVER, LiquidStates, Solids
from drumkeep.thermal.band import Band

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

COLD_STEPS: Final = 24
"""Two hours in sum of likely bottom under the seeding limit."""

DEEP_STEPS: Final = 3
"""Fifteen minutes of low bottom under the deep limit."""

WARM_STEPS: Final = 48
"""Four hours of low bottom at the redissolving limit, with agitation inside them."""

WARM_AGITATED_MIN: Final = 30.0

DEAD_BAND_K: Final = 1.0 / 1.8
"""1 °F."""


@dataclass(frozen=True)
class MemoryLimits:
    """Product limits of each drum, °C, shape (drum,); ``iso`` is True on the A side."""

    iso: Flags
    seed_c: Floats
    deep_c: Floats
    redissolve_c: Floats
    gassing_c: Floats
    storage_low_c: Floats
    storage_high_c: Floats

    def take(self, drums: NDArray[np.intp]) -> "MemoryLimits":
        """Return the same for some drums only."""
        return MemoryLimits(*(v[drums] for v in self.__dict__.values()))


def remember(states: LiquidStates, *, band: Band, limits: MemoryLimits, step: int) -> None:
    """Take the step's five minutes into memory, in place.

    Parameters
    ----------
    states
        Records of the drums, changed in place.
    band
        Their band at this step.
    limits
        Their products' limits.
    step
        The grid step that begins.
    """
    runs = limits.iso & states["resolved"]
    cold = runs & (band.bottom < limits.seed_c)
    states["cold_steps"] += cold
    states["cold_total_steps"] += cold
    states["degree_hours"] += np.where(cold, (limits.seed_c - band.bottom) * STEP_HOURS, 0.0)
    states["coldest_c"] = np.where(
        states["resolved"], np.minimum(states["coldest_c"], band.bottom), states["coldest_c"]
    )
    deep = runs & (band.bottom_low < limits.deep_c)
    states["deep_steps"] = np.where(deep, states["deep_steps"] + 1, 0)
    suspect = (states["cold_steps"] >= COLD_STEPS) | (states["deep_steps"] >= DEEP_STEPS)
    states["solids"] = np.where(
        limits.iso & (states["solids"] == Solids.NONE) & suspect, Solids.SUSPECTED, states["solids"]
    )
    warm = limits.iso & (band.bottom_low >= limits.redissolve_c)
    states["warm_steps"] = np.where(warm, states["warm_steps"] + 1, 0)
    states["warm_agitated_min"] = np.where(warm, states["warm_agitated_min"], 0.0)

    low = band.bottom_low
    _since(
        states,
        "seed_since",
        on=limits.iso & (low < limits.seed_c),
        off=low > limits.seed_c + DEAD_BAND_K,
        step=step,
    )
    _since(
        states,
        "gas_since",
        on=~limits.iso & (band.mean > limits.gassing_c),
        off=band.mean < limits.gassing_c - DEAD_BAND_K,
        step=step,
    )
    _since(
        states,
        "below_since",
        on=band.bottom < limits.storage_low_c,
        off=band.bottom > limits.storage_low_c + DEAD_BAND_K,
        step=step,
    )
    _since(
        states,
        "above_since",
        on=band.mean > limits.storage_high_c,
        off=band.mean < limits.storage_high_c - DEAD_BAND_K,
        step=step,
    )


def _since(states: LiquidStates, name: str, *, on: Flags, off: Flags, step: int) -> None:
    """Note since when a limit is passed; cleared only past the dead band."""
    since = states[name]
    states[name] = np.where(off, NEVER, np.where(on & (since == NEVER), step, since))


def redissolved(states: LiquidStates) -> Flags:
    """Tell which drums have been warm and agitated long enough for a look to clear them."""
    return (states["warm_steps"] >= WARM_STEPS) & (states["warm_agitated_min"] >= WARM_AGITATED_MIN)
