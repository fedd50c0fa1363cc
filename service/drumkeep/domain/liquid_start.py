"""How the liquid of a drum begins: measured at receipt, or told by the air where it came from."""

from dataclasses import dataclass
from typing import Final

from drumkeep.domain.liquid_state import UNSUPPORTED_K, LiquidStates
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW

COLDEST_C: Final = -20.0
HOTTEST_C: Final = 40.0
"""What the liquid of a drum may be at that nobody measured and that came from nobody knows where,
as where no sensor ever was: a supplier's truck may be far colder than the dock it is unloaded at
(our judgement)."""

SEEN_K: Final = 15.0
"""How far apart the liquid may be of a drum that came from a place of ours: after two days in its
air a full drum still has a quarter of what it was off before (e^(−48 h/τ), τ 35 h; our
judgement)."""


@dataclass(frozen=True)
class StartAir:
    """Air (°C) where a drum came from, over the 48 h before receipt.

    ``named``: somebody said that it came from there; else it is the air of the dock, or of where it
    was put, and tells nothing of the truck.
    """

    low_c: float
    mean_c: float
    high_c: float
    named: bool = True

    @property
    def doubt_k(self) -> float:
        """How far apart its liquid may be, K."""
        if self.named:
            return max(self.high_c - self.low_c, SEEN_K)
        return 2.0 * max(self.mean_c - COLDEST_C, HOTTEST_C - self.mean_c)


def begin(states: LiquidStates, *, low: float, likely: float, high: float, spread: float) -> None:
    """Start the one record in ``states`` at three temperatures, °C, in place.

    Parameters
    ----------
    states
        Shape (1,).
    low, likely, high
        Of the slow, likely and fast set.
    spread
        How much further slow and fast reach, K.
    """
    layers = states["layers"]
    layers[0, SLOW] = low - spread
    layers[0, LIKELY] = likely
    layers[0, FAST] = high + spread
    states["doubt_k"] = (high - low) + 2.0 * spread
    states["resolved"] = states["doubt_k"] < UNSUPPORTED_K


def begin_unmeasured(states: LiquidStates, *, air: StartAir) -> None:
    """Start like air, in three states, in place; not known, however steady that air was."""
    begin(states, low=air.low_c, likely=air.mean_c, high=air.high_c, spread=0.0)
    states["doubt_k"] = air.doubt_k
    states["resolved"] = False


def begin_measured(states: LiquidStates, *, likely: float, spread: float) -> None:
    """Start at a temperature that a measurement gave, ± spread K, in place."""
    begin(states, low=likely, likely=likely, high=likely, spread=spread)
    states["resolved"] = True
