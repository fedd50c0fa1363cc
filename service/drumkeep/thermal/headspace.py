"""Pressure in the headspace of a sealed drum: air shut in, agent vapour, liquid expanding.

An estimate for ideal gases with no air dissolving: real drums also stretch, so it errs high.
"""

import math

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_BRIM_M3, STANDARD_PRESSURE_KPA, ZERO_C_K

Floats = NDArray[np.float64]

Values = NDArray[np.float64] | float
"""A number, or an array over drums."""

LEAST_HEADSPACE_M3 = 0.0005
"""Half a litre: a drum this full is beyond ideal-gas reckoning, and the answer is 'too high'."""


def site_pressure_kpa(altitude_m: float) -> float:
    """Air pressure at an altitude, kPa (ICAO standard atmosphere below 11 km)."""
    return STANDARD_PRESSURE_KPA * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.25588)


def headspace_m3(
    *,
    mass_kg: Values,
    density_kg_m3: Values,
    expansion_1_k: Values,
    temperature_c: Values,
) -> Floats:
    """Gas volume above the liquid, m³; density holds at 20 °C, volume grows linearly.

    Numbers or arrays over drums, as for everything here.
    """
    liquid = mass_kg / density_kg_m3 * (1.0 + expansion_1_k * (temperature_c - 20.0))
    return np.maximum(DRUM_BRIM_M3 - liquid, LEAST_HEADSPACE_M3)


def gauge_pressure_kpa(
    *,
    agent_now_kpa: Values,
    agent_sealed_kpa: Values,
    saturation: Values,
    blanket_kpa: Values,
    site_kpa: Values,
    headspace_sealed_m3: Values,
    headspace_now_m3: Values,
    sealed_c: Values,
    now_c: Values,
) -> Floats:
    """Gauge pressure of a sealed drum, kPa; negative when it pulls a vacuum.

    Parameters
    ----------
    agent_now_kpa, agent_sealed_kpa
        Partial pressure x γ Pv of the agent at the liquid's temperature now and at sealing.
    saturation
        Share of ``agent_sealed_kpa`` that stood in the headspace at sealing, 0–1.
    blanket_kpa
        Dry gas put on top at sealing, kPa gauge.
    site_kpa
        Air pressure at the site, kPa absolute.
    headspace_sealed_m3, headspace_now_m3
        Gas volume then and now.
    sealed_c, now_c
        Liquid temperature then and now, °C.
    """
    shut_in = site_kpa + blanket_kpa - saturation * agent_sealed_kpa
    volume = headspace_sealed_m3 / headspace_now_m3
    warmth = (now_c + ZERO_C_K) / (sealed_c + ZERO_C_K)
    return np.asarray(agent_now_kpa + shut_in * volume * warmth - site_kpa, dtype=np.float64)
