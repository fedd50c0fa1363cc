"""Agent that leaves a drum: closed forms by hand, and Fuller's method worked from its own table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_bvp

from drumkeep.thermal.agent_loss import (
    BUNG_RADIUS_M,
    END_M,
    NECK_M,
    diffusivity_m2_s,
    gas_kg,
    open_bung_kg_s,
    vented_share,
)

HFC_245FA = {"molar_mass": 134.05}


def fuller(*, molar_mass, volume, kelvin, bar=1.01325):
    """Diffusivity in air, m²/s: Fuller, Schettler, Giddings; Poling et al. (2001) eq. 11-4.4."""
    mean = 2.0 / (1.0 / molar_mass + 1.0 / 28.97)
    spread = (volume ** (1 / 3) + 19.7 ** (1 / 3)) ** 2
    return 1e-4 * 0.00143 * kelvin**1.75 / (bar * mean**0.5 * spread)


def test_fullers_method_as_worked_here_gives_the_textbooks_example():
    # Poling, Prausnitz, O'Connell, example 11-3 (from memory): allyl chloride in air, 298 K, 1 bar:
    # 0.096 cm²/s by the method, 0.098 measured. Volumes C 15.9, H 2.31, Cl 21.0.
    volume = 3 * 15.9 + 5 * 2.31 + 21.0

    assert fuller(molar_mass=76.5, volume=volume, kelvin=298.0, bar=1.0) == pytest.approx(
        0.096e-4, rel=0.01
    )


def test_diffusivity_is_fullers_for_hfc_245fa():
    # C3H3F5; volumes C 15.9, H 2.31, F 14.7 (Poling et al., table 11-1)
    volume = 3 * 15.9 + 3 * 2.31 + 5 * 14.7
    for c in (0.0, 25.0, 45.0):
        expected = fuller(molar_mass=134.05, volume=volume, kelvin=c + 273.15)
        found = float(diffusivity_m2_s(temperature_c=c, site_kpa=101.325))
        assert found == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("molar_mass", "volume"),
    [
        (130.50, 3 * 15.9 + 2 * 2.31 + 21.0 + 3 * 14.7),  # HCFO-1233zd, C3H2ClF3
        (164.06, 4 * 15.9 + 2 * 2.31 + 6 * 14.7),  # HFO-1336mzz, C4H2F6
        (148.07, 4 * 15.9 + 5 * 2.31 + 5 * 14.7),  # HFC-365mfc, C4H5F5
        (137.37, 15.9 + 3 * 21.0 + 14.7),  # CFC-11
    ],
)
def test_other_agents_diffuse_within_a_fifth_of_it(molar_mass, volume):
    found = float(diffusivity_m2_s(temperature_c=25.0, site_kpa=101.325))

    assert found == pytest.approx(
        fuller(molar_mass=molar_mass, volume=volume, kelvin=298.15), rel=0.2
    )


def test_the_agent_over_half_a_drum_by_hand():
    # 33.4 kPa (10 % HFC-245fa at 20 °C), 0.1 m³: n = 33400 × 0.1/(8.3145 × 293.15) = 1.370 mol
    found = float(gas_kg(agent_kpa=33.4, volume_m3=0.1, at_c=20.0, **HFC_245FA))

    assert found == pytest.approx(1.370 * 0.13405, rel=1e-3)


def test_opening_lets_out_at_least_what_the_pressure_drives_and_at_most_all():
    # 25 kPa over air of 100 kPa: a fifth of the gas must leave
    least, likely, most = vented_share(gauge_kpa=25.0, site_kpa=100.0)

    assert float(least) == pytest.approx(0.2)
    assert float(most) == 1.0
    assert float(likely) == pytest.approx(0.2**0.5)


def test_a_drum_that_pulls_a_vacuum_lets_nothing_out():
    assert vented_share(gauge_kpa=-8.0, site_kpa=100.0)[:2].tolist() == [0.0, 0.0]


def test_thin_vapour_leaves_an_open_bung_by_ficks_law():
    # n = D A/L × p/(R T): 7.3e-6 × 1.9635e-3/0.05927 × 100/(8.3145 × 298.15) = 9.756e-9 mol/s
    found = float(open_bung_kg_s(agent_kpa=0.1, at_c=25.0, site_kpa=101.325, **HFC_245FA))

    assert np.pi * BUNG_RADIUS_M**2 == pytest.approx(1.9635e-3, rel=1e-4)
    assert pytest.approx(0.05927, rel=1e-3) == NECK_M + END_M
    assert found == pytest.approx(9.756e-9 * 0.13405, rel=2e-3)


def test_stefans_law_agrees_with_its_differential_equation():
    # N = −c D dx/dz + x N, solved as a boundary value problem for x(z) with N unknown
    agent_kpa, at_c, p = 60.0, 30.0, 101.325
    length, area = NECK_M + END_M, np.pi * BUNG_RADIUS_M**2
    d = float(diffusivity_m2_s(temperature_c=at_c, site_kpa=p))
    c = p * 1e3 / (8.314462618 * (at_c + 273.15))
    scale = c * d / length

    def slopes(_z, x, n):
        return [-n[0] * (1.0 - x[0])]  # in units of the scale and of the length

    def ends(left, right, _n):
        return np.array([left[0] - agent_kpa / p, right[0]])

    z = np.linspace(0.0, 1.0, 21)
    solved = solve_bvp(slopes, ends, z, [agent_kpa / p * (1.0 - z)], p=[1.0], tol=1e-8)
    expected = solved.p[0] * scale * area * 0.13405

    found = float(open_bung_kg_s(agent_kpa=agent_kpa, at_c=at_c, site_kpa=p, **HFC_245FA))
    assert found == pytest.approx(expected, rel=1e-5)


@given(agent_kpa=st.floats(0.0, 300.0), at_c=st.floats(-20.0, 60.0))
def test_what_drifts_out_is_finite_and_grows_with_the_pressure(agent_kpa, at_c):
    rate, more = (
        float(open_bung_kg_s(agent_kpa=p, at_c=at_c, site_kpa=95.0, **HFC_245FA))
        for p in (agent_kpa, agent_kpa + 1.0)
    )

    assert 0.0 <= rate <= more < 1e-5
