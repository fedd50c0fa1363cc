"""Pressure of a sealed drum against the ideal-gas law by hand, and ICAO's standard atmosphere."""

import math

import numpy as np
import pytest

from drumkeep.domain.liquid_pressure import gauge_kpa, pressure_inputs
from drumkeep.domain.liquid_state import empty_states
from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.constants import DRUM_BRIM_M3, DRUM_RADIUS_M
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M, liquid_depth
from drumkeep.thermal.headspace import (
    LEAST_HEADSPACE_M3,
    gauge_pressure_kpa,
    headspace_m3,
    site_pressure_kpa,
)
from drumkeep.thermal.vapour import AGENTS

EXPANSION_1_K = 8e-4
DENSITY_KG_M3 = 1150.0
# 200 L at 15 °C; the density holds at 20 °C.
MASS_KG = 0.200 / (1.0 - 5.0 * EXPANSION_1_K) * DENSITY_KG_M3


def headspace(temperature_c: float) -> float:
    gas = headspace_m3(
        mass_kg=MASS_KG,
        density_kg_m3=DENSITY_KG_M3,
        expansion_1_k=EXPANSION_1_K,
        temperature_c=temperature_c,
    )
    return float(gas)


def sealed_at_15(now_c: float) -> float:
    gauge = gauge_pressure_kpa(
        agent_now_kpa=0.0,
        agent_sealed_kpa=0.0,
        saturation=1.0,
        blanket_kpa=0.0,
        sealed_site_kpa=101.325,
        site_kpa=101.325,
        headspace_sealed_m3=headspace(15.0),
        headspace_now_m3=headspace(now_c),
        sealed_c=15.0,
        now_c=now_c,
    )
    return float(gauge)


@pytest.mark.parametrize(
    ("now_c", "gauge"), [(15.0, 0.0), (25.0, 14.8), (35.0, 33.1), (45.0, 56.4), (55.0, 87.2)]
)
def test_a_full_drum_sealed_at_15_c_builds_pressure_without_any_agent(now_c, gauge):
    # By hand: 200 L in 216.5 L, expansion 8e-4, the headspace shrinks from 16.5 to 10.1 L at 55 °C,
    # p V / T constant from 101.325 kPa; within 0.5 kPa.
    assert sealed_at_15(now_c) == pytest.approx(gauge, abs=0.5)


def test_a_drum_sealed_warm_pulls_a_vacuum_when_it_is_cold():
    assert sealed_at_15(-10.0) < -10.0


def test_a_drum_too_full_to_have_a_headspace_has_half_a_litre():
    left = headspace_m3(mass_kg=400.0, density_kg_m3=1150.0, expansion_1_k=8e-4, temperature_c=60.0)

    assert left == LEAST_HEADSPACE_M3


@pytest.mark.parametrize(
    ("altitude_m", "kpa"), [(0.0, 101.325), (1000.0, 89.875), (2000.0, 79.495), (3000.0, 70.109)]
)
def test_site_pressure_is_that_of_the_icao_standard_atmosphere(altitude_m, kpa):
    # ICAO Doc 7488, table of the standard atmosphere
    assert site_pressure_kpa(altitude_m) == pytest.approx(kpa, rel=2e-4)


def test_the_pressure_over_many_drums_is_the_formula_for_one():
    product = default_product(Side.RESIN)
    own = product.properties
    states = empty_states(1)
    states["sealed"] = True
    states["mass_kg"] = 227.0
    states["seal_c"], states["seal_saturation"], states["seal_blanket_kpa"] = 20.0, 1.0, 14.0
    shape = {"density_kg_m3": own.density_kg_m3, "expansion_1_k": own.expansion_1_k}
    states["seal_headspace_m3"] = headspace_m3(mass_kg=227.0, temperature_c=20.0, **shape)

    ours = gauge_kpa(
        states,
        mean_c=np.array([35.0]),
        inputs=pressure_inputs([product]),
        site_kpa=np.array([90.0]),
    )

    agent = AGENTS["HFC-245fa"]
    share = agent.mole_fraction(mass_fraction=0.08, polyol_molar_mass=450.0)
    assert ours[0] == pytest.approx(
        gauge_pressure_kpa(
            agent_now_kpa=share * agent.pressure_kpa(35.0),
            agent_sealed_kpa=share * agent.pressure_kpa(20.0),
            saturation=1.0,
            blanket_kpa=14.0,
            sealed_site_kpa=90.0,
            site_kpa=90.0,
            headspace_sealed_m3=float(states["seal_headspace_m3"][0]),
            headspace_now_m3=headspace_m3(mass_kg=227.0, temperature_c=35.0, **shape),
            sealed_c=20.0,
            now_c=35.0,
        )
    )


def test_the_drums_own_figures_are_those_of_the_trade():
    # Common size of a 55 gal tight-head drum: 216.5 L brimful, 22.5 in inside diameter; 200 L of
    # liquid then stand 0.780 m high.
    depth = float(liquid_depth(np.array(0.200), np.array(1.0)))

    assert DRUM_BRIM_M3 == 0.2165
    # π/4 × 0.5715² × 0.850 m = 0.2180 m³, the cylinder inside
    assert math.pi * DRUM_RADIUS_M**2 * DRUM_INSIDE_HEIGHT_M == pytest.approx(0.2180, abs=0.0005)
    assert pytest.approx(22.5 * 0.0254, rel=1e-3) == 2.0 * DRUM_RADIUS_M
    assert depth == pytest.approx(0.780, abs=0.002)
    assert math.pi * DRUM_RADIUS_M**2 * depth == pytest.approx(0.200)
