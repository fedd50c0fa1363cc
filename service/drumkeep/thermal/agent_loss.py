"""Blowing agent that leaves the resin: let off, drifted out of a bung, or into emptied space.

A model of the order of magnitude, not data: no measurement of a real drum is published. Gas over
the liquid is ideal and as rich in agent as the liquid's temperature makes it.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import GAS_CONSTANT_J_MOLK, STANDARD_PRESSURE_KPA, ZERO_C_K

Floats = NDArray[np.float64]
Values = NDArray[np.float64] | float

DIFFUSIVITY_M2_S: Final = 7.3e-6
"""HFC-245fa in air, 25 °C, 1 atm, by the method of Fuller, Schettler and Giddings (as in Poling,
Prausnitz and O'Connell, ch. 11); the other agents lie within a fifth of it but for n-pentane."""

DIFFUSIVITY_C: Final = 25.0
DIFFUSIVITY_POWER: Final = 1.75

BUNG_RADIUS_M: Final = 0.025
"""Clear opening of the 2 in bung, 50 mm (trade drawings of tight-head drums; from memory)."""

NECK_M: Final = 0.02
"""Height of its flange (from memory)."""

END_M: Final = np.pi * BUNG_RADIUS_M / 2.0
"""What the gas on both sides of a round opening adds to the neck: π r/4 a side, as a disc's
conductance to a half space is 4 r D (Crank, Mathematics of Diffusion; from memory)."""

LEAST_FRACTION: Final = 0.02
"""Where the agent's share of the air's pressure is near one the law breaks down: it boils."""


def diffusivity_m2_s(*, temperature_c: Values, site_kpa: Values) -> Floats:
    """Diffusivity of agent in air, m²/s: as T^1.75 and 1/p (Fuller)."""
    warmth = (np.asarray(temperature_c) + ZERO_C_K) / (DIFFUSIVITY_C + ZERO_C_K)
    return np.asarray(
        DIFFUSIVITY_M2_S * warmth**DIFFUSIVITY_POWER * STANDARD_PRESSURE_KPA / site_kpa,
        dtype=np.float64,
    )


def gas_kg(*, agent_kpa: Values, molar_mass: Values, volume_m3: Values, at_c: Values) -> Floats:
    """Agent in a volume of gas, kg: M p V/(R T), ``molar_mass`` in g/mol."""
    moles = np.asarray(agent_kpa) * 1e3 * volume_m3 / (GAS_CONSTANT_J_MOLK * (at_c + ZERO_C_K))
    return np.asarray(moles * molar_mass * 1e-3, dtype=np.float64)


def vented_share(*, gauge_kpa: Values, site_kpa: Values) -> Floats:
    """Share of the headspace's agent that leaves when it is opened, shape (3, …).

    The least is what flows out until the pressure is that of the air; the most is all of it, from
    somebody who lets it blow off and waits; the likely is between, by the geometric mean.
    """
    over = np.maximum(np.asarray(gauge_kpa, dtype=np.float64), 0.0)
    least = over / (over + site_kpa)
    return np.stack([least, np.sqrt(least), np.ones_like(least)])


def open_bung_kg_s(
    *, agent_kpa: Values, molar_mass: Values, at_c: Values, site_kpa: Values
) -> Floats:
    """Agent that drifts out of the open 2 in bung into still air, kg/s.

    Stefan's law for vapour diffusing through air that stands, n = (D A/L)(p/(R T)) ln(p/(p − pa)),
    with the neck and both its ends as L.
    """
    share = np.minimum(np.asarray(agent_kpa) / site_kpa, 1.0 - LEAST_FRACTION)
    area = np.pi * BUNG_RADIUS_M**2
    d = diffusivity_m2_s(temperature_c=at_c, site_kpa=site_kpa)
    density = np.asarray(site_kpa) * 1e3 / (GAS_CONSTANT_J_MOLK * (np.asarray(at_c) + ZERO_C_K))
    moles = d * area / (NECK_M + END_M) * density * -np.log1p(-share)
    return np.asarray(moles * molar_mass * 1e-3, dtype=np.float64)
