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
from drumkeep.thermal.constants import DRUM_BRIM_M3
from drumkeep.thermal.headspace import (
    FILL_C,
    HOT_C,
    gauge_pressure_kpa,
    headspace_m3,
    liquid_m3,
)
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.properties import straight

Floats = NDArray[np.float64]

NOTE_KPA: Final = 15.0
WARN_KPA: Final = 30.0
WARN_OFF_KPA: Final = 25.0
OVER_ON_KPA: Final = 50.0
OVER_OFF_KPA: Final = 45.0
"""Practical levels (flat ends bulge near 28 kPa, drums deform near 50); our choice."""

VACUUM_KPA: Final = -10.0
"""Vacuum worth a word before a bung is turned: a tenth of the air outside rushes in, with its
moisture. A full drum of iso, sealed at 20 °C, comes to it at 12 °C; our judgement."""

VACUUM_ON_KPA: Final = -25.0
VACUUM_OFF_KPA: Final = -20.0
"""Vacuum worth an alarm: the load on the flat head is that of ``WARN_KPA`` turned inward, where a
thin shell gives way by dents; iso is then under −3 °C, which seeding tells first; our judgement."""

ACTIVITY: Final = (0.5, 1.2)
"""Activity of an agent in a blend whose maker states none: solvating polyols hold it back, others
let it go (a range for Raoult's law given from memory; no blend is published)."""


@dataclass(frozen=True)
class PressureInputs:
    """Agent fit and blend of each drum, shape (drum,): log10(p/kPa) = a − b/(t + c).

    ``share`` is x γ; ``share_low`` and ``share_high`` are its ends where γ is not stated. Volume
    grows linearly from the density at 20 °C.
    """

    a: Floats
    b: Floats
    c: Floats
    share: Floats
    share_low: Floats
    share_high: Floats
    density_kg_m3: Floats
    expansion_1_k: Floats

    def take(self, drums: NDArray[np.intp]) -> "PressureInputs":
        """Return the same for some drums only."""
        return PressureInputs(*(v[drums] for v in self.__dict__.values()))

    def agent_kpa(self, temperature_c: Floats, *, share: Floats | None = None) -> Floats:
        """Partial pressure of the agent over the blend, kPa absolute."""
        of_pure = 10.0 ** (self.a - self.b / (temperature_c + self.c))
        return np.asarray((self.share if share is None else share) * of_pure, dtype=np.float64)

    def headspace_m3(self, mass_kg: Floats, *, temperature_c: Floats) -> Floats:
        """Gas volume above so much liquid, m³."""
        return headspace_m3(
            mass_kg=mass_kg,
            density_kg_m3=self.density_kg_m3,
            expansion_1_k=self.expansion_1_k,
            temperature_c=temperature_c,
        )


@dataclass(frozen=True)
class _Seal:
    """What was shut in and where, each of shape (drum,)."""

    c: Floats
    headspace_m3: Floats
    blanket_kpa: Floats
    saturation: Floats
    site_kpa: Floats


def expanding(product: Product) -> tuple[float, float]:
    """Return density (kg/m³) at 20 °C and expansion (1/K) of a product's liquid up to 55 °C."""
    own = product.properties
    if len(own.density_points) < 2:  # noqa: PLR2004 - it takes two to tell an expansion
        return own.density_kg_m3, own.expansion_1_k
    cold, hot = (float(d) for d in straight(own.density_points, at_c=np.array([FILL_C, HOT_C])))
    return cold, (cold / hot - 1.0) / (HOT_C - FILL_C)


def pressure_inputs(products: Sequence[Product]) -> PressureInputs:
    """Return the inputs of each drum's product; a share of 0 where there is no agent."""
    by_product = {id(product): product for product in products}
    known = {key: _row_of(product) for key, product in by_product.items()}
    rows = [known[id(product)] for product in products]
    columns = np.array(rows, dtype=np.float64).reshape(len(rows), 8).T
    return PressureInputs(*columns)


def _row_of(product: Product) -> tuple[float, ...]:
    own = product.properties
    density, expansion = expanding(product)
    agent = own.blowing_agent if product.side is Side.RESIN else None
    if agent is None:
        return 0.0, 0.0, 1000.0, 0.0, 0.0, 0.0, density, expansion
    x = agent.mole_fraction(
        mass_fraction=own.agent_mass_fraction, polyol_molar_mass=own.polyol_molar_mass
    )
    gamma = own.agent_activity
    low, high = activity_range(product)
    return agent.a, agent.b, agent.c, x * gamma, x * low, x * high, density, expansion


def activity_range(product: Product) -> tuple[float, float]:
    """Return the lowest and highest activity of a product's agent: one value where it is stated."""
    stated = product.properties.agent_activity
    if "agent_activity" in product.stated:
        return stated, stated
    return min(ACTIVITY[0], stated), max(ACTIVITY[1], stated)


def gauge_kpa(
    states: LiquidStates, *, mean_c: Floats, inputs: PressureInputs, site_kpa: Floats
) -> Floats:
    """Gauge pressure of each drum at its likely mean, kPa; 0 while open, NaN where unknown."""
    sealed = _shut(
        states,
        seal=_seal_of(states, site_kpa=site_kpa),
        now_c=mean_c,
        inputs=inputs,
        share=inputs.share * agent_left(states, at=LIKELY),
        site_kpa=site_kpa,
    )
    return _where_sealed(states, sealed)


def agent_left(states: LiquidStates, *, at: int) -> Floats:
    """Share of the agent's pressure that is left, for the least (0), likely or most (2) loss.

    The mole fraction falls a little less than the agent does: by that much this errs low, by 1 %
    where a twentieth is gone.
    """
    return np.asarray(1.0 - states["agent_lost"][:, at], dtype=np.float64)


def gauge_span_kpa(
    states: LiquidStates,
    *,
    mean_low_c: Floats,
    mean_c: Floats,
    mean_high_c: Floats,
    inputs: PressureInputs,
    site_kpa: Floats,
) -> tuple[Floats, Floats]:
    """Lowest and highest gauge pressure over the band of the mean and the agent's activity, kPa."""
    seal = _seal_of(states, site_kpa=site_kpa)
    corners = np.stack(
        [
            _shut(states, seal=seal, now_c=c, inputs=inputs, share=share, site_kpa=site_kpa)
            for c in (mean_low_c, mean_c, mean_high_c)
            for share in (
                inputs.share_low * agent_left(states, at=FAST),
                inputs.share * agent_left(states, at=LIKELY),
                inputs.share_high * agent_left(states, at=SLOW),
            )
        ]
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    return _where_sealed(states, low), _where_sealed(states, high)


def hot_gauge_kpa(
    states: LiquidStates, *, mean_c: Floats, inputs: PressureInputs, site_kpa: Floats
) -> Floats:
    """Gauge pressure of each drum at 55 °C as it is filled, kPa; infinite where liquid fills it.

    A drum that is open counts as closed now, without a blanket; at 20 °C where its temperature is
    not known.
    """
    now = np.where(np.isfinite(mean_c), mean_c, FILL_C)
    sealed, mass = states["sealed"], states["mass_kg"]
    was = _seal_of(states, site_kpa=site_kpa)
    closed_m3 = inputs.headspace_m3(mass, temperature_c=now)
    seal = _Seal(
        c=np.where(sealed, was.c, now),
        headspace_m3=np.where(sealed, was.headspace_m3, closed_m3),
        blanket_kpa=np.where(sealed, was.blanket_kpa, 0.0),
        saturation=np.where(sealed, was.saturation, 1.0),
        site_kpa=np.where(sealed, was.site_kpa, site_kpa),
    )
    hot = np.full(len(states), HOT_C)
    gauge = _shut(
        states, seal=seal, now_c=hot, inputs=inputs, share=inputs.share, site_kpa=site_kpa
    )
    liquid = liquid_m3(
        mass_kg=mass,
        density_kg_m3=inputs.density_kg_m3,
        expansion_1_k=inputs.expansion_1_k,
        temperature_c=HOT_C,
    )
    return np.where(liquid >= DRUM_BRIM_M3, np.inf, gauge)


def _seal_of(states: LiquidStates, *, site_kpa: Floats) -> _Seal:
    there = states["seal_site_kpa"]
    return _Seal(
        c=states["seal_c"],
        headspace_m3=states["seal_headspace_m3"],
        blanket_kpa=states["seal_blanket_kpa"],
        saturation=states["seal_saturation"],
        site_kpa=np.where(np.isfinite(there), there, site_kpa),
    )


def _shut(
    states: LiquidStates,
    *,
    seal: _Seal,
    now_c: Floats,
    inputs: PressureInputs,
    share: Floats,
    site_kpa: Floats,
) -> Floats:
    return gauge_pressure_kpa(
        agent_now_kpa=inputs.agent_kpa(now_c, share=share),
        agent_sealed_kpa=inputs.agent_kpa(seal.c, share=share),
        saturation=seal.saturation,
        blanket_kpa=seal.blanket_kpa,
        sealed_site_kpa=seal.site_kpa,
        site_kpa=site_kpa,
        headspace_sealed_m3=seal.headspace_m3,
        headspace_now_m3=inputs.headspace_m3(states["mass_kg"], temperature_c=now_c),
        sealed_c=seal.c,
        now_c=now_c,
    )


def _where_sealed(states: LiquidStates, sealed: Floats) -> Floats:
    open_kpa = np.where(np.isfinite(states["regulated_kpa"]), states["regulated_kpa"], 0.0)
    return np.asarray(np.where(states["sealed"], sealed, open_kpa), dtype=np.float64)


def note_overpressure(states: LiquidStates, *, gauge: Floats) -> None:
    """Set or clear ``overpressure`` past its two levels, in place."""
    states["overpressure"] = np.where(
        states["overpressure"], gauge > OVER_OFF_KPA, gauge > OVER_ON_KPA
    )
