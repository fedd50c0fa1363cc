"""How the liquid of a drum begins: measured at receipt, or told by the air where it came from."""

from dataclasses import dataclass

from drumkeep.domain.liquid_state import UNSUPPORTED_K, LiquidStates
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW


@dataclass(frozen=True)
class StartAir:
    """Air (°C) where a drum came from, over the 48 h before receipt."""

    low_c: float
    mean_c: float
    high_c: float


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


def begin_measured(states: LiquidStates, *, likely: float, spread: float) -> None:
    """Start at a temperature that a measurement gave, ± spread K, in place."""
    begin(states, low=likely, likely=likely, high=likely, spread=spread)
    states["resolved"] = True
