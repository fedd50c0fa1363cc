"""How warmth ages a liquid: Arrhenius' rate, mean kinetic temperature, equivalent age.

The activation energy is the pharmacopoeia's convention, 83.144 kJ/mol (USP <1079>, with
R = 8.3144 J/(mol K), so that ΔH/R is 10 000 K); none is published for resin or iso. It is about
heat alone and says nothing of cold.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import ZERO_C_K

Floats = NDArray[np.float64]

ACTIVATION_K: Final = 10_000.0
"""ΔH/R, K."""

UNIT_C: Final = 25.0
"""A day at this temperature ages by one day before a reference is chosen: sums are kept so."""


def ageing_rate(temperature_c: Floats | float, *, reference_c: float = UNIT_C) -> Floats:
    """Days of age at the reference temperature that one day at a temperature brings."""
    at, reference = np.asarray(temperature_c) + ZERO_C_K, reference_c + ZERO_C_K
    return np.asarray(np.exp(ACTIVATION_K * (1.0 / reference - 1.0 / at)), dtype=np.float64)


def kinetic_temperature_c(mean_rate: Floats | float) -> Floats:
    """Return the steady temperature, °C, that ages at a mean rate (of ``UNIT_C``)."""
    inverse = 1.0 / (UNIT_C + ZERO_C_K) - np.log(np.asarray(mean_rate)) / ACTIVATION_K
    return np.asarray(1.0 / inverse - ZERO_C_K, dtype=np.float64)


def mean_kinetic_temperature_c(temperatures_c: Floats, *, hours: Floats | None = None) -> float:
    """Mean kinetic temperature, °C, of temperatures that each held for some hours.

    Parameters
    ----------
    temperatures_c
        Temperatures, °C, shape (time,).
    hours
        How long each held; equally long where None.
    """
    weights = np.ones_like(temperatures_c) if hours is None else hours
    return float(kinetic_temperature_c(np.average(ageing_rate(temperatures_c), weights=weights)))
