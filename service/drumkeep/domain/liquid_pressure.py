"""Computed gauge pressure of drums, from what was shut in at the last sealing.

A model, not data: no vapour pressure of a real resin blend is published. Raoult with an activity
per product; iso has no agent but expands, and makes CO₂ when water gets in (not computed).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.products import Product, Side
from drumkeep.thermal.headspace import gauge_pressure_kpa, headspace_m3
from drumkeep.thermal.vapour import AGENTS, mole_fraction

Floats = NDArray[np.float64]

NOTE_KPA: Final = 15.0
WARN_KPA: Final = 30.0
WARN_OFF_KPA: Final = 25.0
OVER_ON_KPA: Final = 50.0
OVER_OFF_KPA: Final = 45.0
VACUUM_KPA: Final = -10.0
"""Practical levels (flat ends bulge near 28 kPa, drums deform near 50); our choice."""


@dataclass(frozen=True)
class PressureInputs:
    """Agent fit and blend of each drum, shape (drum,): log10(p/kPa) = a − b/(t + c)."""

    a: Floats
    b: Floats
    c: Floats
    share: Floats
    density_kg_m3: Floats
    expansion_1_k: Floats

    def take(self, drums: NDArray[np.intp]) -> "PressureInputs":
        """Return the same for some drums only."""
        return PressureInputs(*(v[drums] for v in self.__dict__.values()))

    def agent_kpa(self, temperature_c: Floats) -> Floats:
        """Partial pressure of the agent over the blend, kPa absolute."""
        return np.asarray(
            self.share * 10.0 ** (self.a - self.b / (temperature_c + self.c)), dtype=np.float64
        )


def pressure_inputs(products: Sequence[Product]) -> PressureInputs:
    """Return the inputs of each drum's product; a share of 0 where there is no agent."""
    fits, shares = [], []
    for product in products:
        own = product.properties
        agent = own.agent if product.side is Side.RESIN else None
        fits.append(AGENTS[agent or "HFC-245fa"])
        fraction = (
            mole_fraction(
                agent,
                mass_fraction=own.agent_mass_fraction,
                polyol_molar_mass=own.polyol_molar_mass,
            )
            if agent is not None
            else 0.0
        )
        shares.append(fraction * own.agent_activity)
    return PressureInputs(
        a=np.array([fit.a for fit in fits], dtype=np.float64),
        b=np.array([fit.b for fit in fits], dtype=np.float64),
        c=np.array([fit.c for fit in fits], dtype=np.float64),
        share=np.array(shares, dtype=np.float64),
        density_kg_m3=np.array([p.properties.density_kg_m3 for p in products], dtype=np.float64),
        expansion_1_k=np.array([p.properties.expansion_1_k for p in products], dtype=np.float64),
    )


def gauge_kpa(
    states: LiquidStates, *, mean_c: Floats, inputs: PressureInputs, site_kpa: Floats
) -> Floats:
    """Gauge pressure of each drum at its likely mean, kPa; 0 while open, NaN where unknown."""
    sealed = gauge_pressure_kpa(
        agent_now_kpa=inputs.agent_kpa(mean_c),
        agent_sealed_kpa=inputs.agent_kpa(states["seal_c"]),
        saturation=states["seal_saturation"],
        blanket_kpa=states["seal_blanket_kpa"],
        site_kpa=site_kpa,
        headspace_sealed_m3=states["seal_headspace_m3"],
        headspace_now_m3=headspace_m3(
            mass_kg=states["mass_kg"],
            density_kg_m3=inputs.density_kg_m3,
            expansion_1_k=inputs.expansion_1_k,
            temperature_c=mean_c,
        ),
        sealed_c=states["seal_c"],
        now_c=mean_c,
    )
    open_kpa = np.where(np.isfinite(states["regulated_kpa"]), states["regulated_kpa"], 0.0)
    return np.asarray(np.where(states["sealed"], sealed, open_kpa), dtype=np.float64)


def note_overpressure(states: LiquidStates, *, gauge: Floats) -> None:
    """Set or clear ``overpressure`` past its two levels, in place."""
    states["overpressure"] = np.where(
        states["overpressure"], gauge > OVER_OFF_KPA, gauge > OVER_ON_KPA
    )
