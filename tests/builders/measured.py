"""One drum as a measurement finds it; its layers are a stack of temperatures, bottom first."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.liquid_observed import Beside, depth_of
from drumkeep.domain.liquid_state import UNSUPPORTED_K, LiquidStates, empty_states
from drumkeep.thermal.stratified import LAYERS
from tests.builders.past import HALL, step

Floats = NDArray[np.float64]

NOW: Final = 2.0
"""Hours after the beginning."""

DEPTH_M: Final = depth_of(mass_kg=250.0, density_kg_m3=1230.0)
SHARE: Final = (np.arange(LAYERS) + 0.5) / LAYERS
"""Where the middles of the layers lie, as a share of the depth."""

EVEN: Final = np.full(LAYERS, 8.0)
STACK: Final = 4.0 + 8.0 * SHARE
MIDDLE: Final = slice(LAYERS // 2 - 1, LAYERS // 2 + 1)


def drum(
    stack: Floats = EVEN, *, slow: float = -1.0, fast: float = 1.0, driven_k: float = 0.0
) -> LiquidStates:
    """A drum with this likely stack, slow and fast so much beside it."""
    states = empty_states(1)
    states["alive"] = states["resolved"] = True
    states["mass_kg"] = 250.0
    states["place"] = HALL
    states["layers"][0] = np.broadcast_to(stack, (3, LAYERS)) + np.array([[slow], [0.0], [fast]])
    states["doubt_k"] = fast - slow if fast - slow >= UNSUPPORTED_K else 0.0
    states["ring"] = driven_k
    return states


def beside(
    hours: float = NOW, *, air_c: float = 8.0, share: float = 0.5, sensor_error_k: float = 0.0
) -> Beside:
    """What surrounds it: air, and the liquid's share in the wall."""
    return Beside(step(hours), air_c, sensor_error_k, DEPTH_M, share)
