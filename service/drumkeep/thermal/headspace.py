"""Pressure in the headspace of a sealed drum: air shut in, agent vapour, liquid expanding.

Computed for ideal gases with no air dissolving: real drums also stretch, so it errs high.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_BRIM_M3, STANDARD_PRESSURE_KPA, ZERO_C_K

Floats = NDArray[np.float64]

Values = NDArray[np.float64] | float
"""A number, or an array over drums."""

LEAST_HEADSPACE_M3 = 0.0005
"""Half a litre: a drum this full is beyond ideal-gas reckoning, and the answer is 'too high'."""

FILL_C: Final = 20.0
"""At which a product's density holds, and a drum counts as filled, °C."""

HOT_C: Final = 55.0
"""At which the transport regulations ask whether a drum is full of liquid, °C (131 °F)."""

ADR_PERCENT: Final = 98.0
ADR_C: Final = 50.0
"""ADR, IMDG 4.1.1.4: degree of filling 98/(1 + a (50 − tF)) % at the filling temperature tF."""


def site_pressure_kpa(altitude_m: float) -> float:
    """Air pressure at an altitude, kPa (ICAO standard atmosphere below 11 km)."""
    return STANDARD_PRESSURE_KPA * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.25588)


def liquid_m3(
    *,
    mass_kg: Values,
    density_kg_m3: Values,
    expansion_1_k: Values,
    temperature_c: Values,
) -> Floats:
    """Volume of the liquid, m³; density holds at 20 °C, volume grows linearly.

    Numbers or arrays over drums, as for everything here.
    """
    grown = 1.0 + expansion_1_k * (temperature_c - FILL_C)
    return np.asarray(mass_kg / density_kg_m3 * grown, dtype=np.float64)


def headspace_m3(
    *,
    mass_kg: Values,
    density_kg_m3: Values,
    expansion_1_k: Values,
    temperature_c: Values,
) -> Floats:
    """Gas volume above the liquid, m³, never less than ``LEAST_HEADSPACE_M3``."""
    liquid = liquid_m3(
        mass_kg=mass_kg,
        density_kg_m3=density_kg_m3,
        expansion_1_k=expansion_1_k,
        temperature_c=temperature_c,
    )
    return np.maximum(DRUM_BRIM_M3 - liquid, LEAST_HEADSPACE_M3)


def most_fill(*, expansion_1_k: float, filled_c: float = FILL_C) -> float:
    """Share of the brim that, filled at ``filled_c``, is just liquid-full at 55 °C."""
    return 1.0 / (1.0 + expansion_1_k * (HOT_C - filled_c))


def adr_fill(*, expansion_1_k: float, filled_c: float = FILL_C) -> float:
    """Share of the brim up to which ADR and IMDG 4.1.1.4 let a drum be filled at ``filled_c``."""
    return ADR_PERCENT / 100.0 / (1.0 + expansion_1_k * (ADR_C - filled_c))


def gauge_pressure_kpa(
    *,
    agent_now_kpa: Values,
    agent_sealed_kpa: Values,
    saturation: Values,
    blanket_kpa: Values,
    sealed_site_kpa: Values,
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
    sealed_site_kpa, site_kpa
        Air pressure where it was sealed and where it is now, kPa absolute.
    headspace_sealed_m3, headspace_now_m3
        Gas volume then and now.
    sealed_c, now_c
        Liquid temperature then and now, °C.
    """
    shut_in = sealed_site_kpa + blanket_kpa - saturation * agent_sealed_kpa
    volume = headspace_sealed_m3 / headspace_now_m3
    warmth = (now_c + ZERO_C_K) / (sealed_c + ZERO_C_K)
    return np.asarray(agent_now_kpa + shut_in * volume * warmth - site_kpa, dtype=np.float64)
