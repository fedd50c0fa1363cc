"""What the liquid remembers: cold that seeds iso, warmth that redissolves, time beyond limits.

Solids only suspected clear by a look at warm liquid. Solids seen need heat with agitation first,
and then a look, which may come when the drum has cooled again as long as it was not cold.

A heuristic on common practice, no source: no induction time for crystals in iso is published.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_HOURS, STEP_SECONDS
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

STEP_MIN: Final = STEP_SECONDS / 60.0

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
    # Before anybody measured it it may have been as cold as it may be now: told once it is known.
    unseen = states["deep_steps"].copy()
    maybe = limits.iso & ~states["resolved"] & (band.bottom_low < limits.deep_c)
    kept = np.where(maybe, DEEP_STEPS, np.where(states["resolved"], 0, unseen))
    states["deep_steps"] = np.where(deep, unseen + 1, kept)
    states["redissolved"] &= ~(cold | deep)
    cold_long = np.maximum(states["deep_steps"], unseen) >= DEEP_STEPS
    suspect = states["resolved"] & ((states["cold_steps"] >= COLD_STEPS) | cold_long)
    states["solids"] = np.where(
        limits.iso & (states["solids"] == Solids.NONE) & suspect, Solids.SUSPECTED, states["solids"]
    )
    warm = limits.iso & (band.bottom_low >= limits.redissolve_c)
    states["warm_steps"] = np.where(warm, states["warm_steps"] + 1, 0)
    stirred = states["warm_agitated_min"] + STEP_MIN * (step < states["agitated_until"])
    states["warm_agitated_min"] = np.where(warm, stirred, 0.0)
    enough = (states["warm_steps"] >= WARM_STEPS) & (stirred >= WARM_AGITATED_MIN)
    states["redissolved"] |= warm & enough

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


def stir(states: LiquidStates, *, minutes: float, step: int) -> None:
    """Note that one drum is agitated for so long from a step on, in place."""
    until = step + int(np.ceil(minutes / STEP_MIN))
    states["agitated_step"] = step
    states["agitated_until"] = np.maximum(states["agitated_until"], until)


def see_solids(states: LiquidStates) -> None:
    """Note that somebody saw solids in one drum: heat before that did not dissolve them."""
    states["solids"] = Solids.SEEN
    states["redissolved"] = False
    states["warm_steps"] = 0
    states["warm_agitated_min"] = 0.0


def see_none(states: LiquidStates, *, low_c: float, seed_c: float) -> None:
    """Note a look to the bottom of one drum that found no solids; it may clear them.

    Parameters
    ----------
    states
        Its record, shape (1,), changed in place.
    low_c
        The coldest its liquid may be, °C.
    seed_c
        Its seeding limit, °C.
    """
    seen = states["solids"][0] == Solids.SEEN
    if states["redissolved"][0] if seen else low_c >= seed_c:
        states["solids"] = Solids.NONE
        states["redissolved"] = False
        states["cold_steps"] = 0
        states["deep_steps"] = 0


def take_colder(states: LiquidStates, *, other: LiquidStates) -> None:
    """Let liquid of another drum come in: the worse of both memories counts, in place.

    Solids, and cold that may have made them, are not thinned by what they are poured into. Both
    records have shape (1,).
    """
    clean = [bool(s["redissolved"][0] or s["solids"][0] != Solids.SEEN) for s in (states, other)]
    for name in ("cold_steps", "deep_steps", "cold_total_steps", "degree_hours", "solids"):
        states[name] = np.maximum(states[name], other[name])
    for name in ("coldest_c", "warm_steps", "warm_agitated_min"):
        states[name] = np.minimum(states[name], other[name])
    states["redissolved"] = all(clean) and states["solids"][0] == Solids.SEEN
