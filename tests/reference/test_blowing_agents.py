"""Vapour pressure of blowing agents against CoolProp 8.0.0 and handbooks.

CoolProp's own equations of state: R245fa Akasaka JPCRD 2015 (NIST states 0.1 % for its vapour
pressure), R1233zd(E) Akasaka JPCRD 2022, R1336mzz(Z) McLinden JCED 2020, R1336mzz(E) Akasaka IJT
2023, R365MFC Lemmon JCED 2016, R141b Lemmon JCED 2006, R11 Jacobsen FPE 1992. The older equation of
R1233zd(E) lies 0.42 % lower at 24 °C.
"""

import pytest
from scipy import optimize

from drumkeep.domain import products
from drumkeep.thermal.vapour import AGENTS, mole_fraction, vapour_pressure_kpa

TEMPERATURES_C = (10.0, 20.0, 24.0, 25.0, 32.0, 40.0, 50.0, 55.0)

# kPa absolute at those temperatures, CoolProp 8.0.0.
SATURATION_KPA = {
    "CFC-11": (60.677, 88.682, 102.377, 106.047, 134.696, 174.427, 236.140, 272.643),
    "HCFC-141b": (43.496, 65.023, 75.695, 78.567, 101.164, 132.902, 182.881, 212.745),
    "HFC-245fa": (82.417, 123.060, 143.171, 148.581, 191.082, 250.647, 344.209, 400.007),
    "HFC-365mfc": (29.761, 46.177, 54.505, 56.764, 74.768, 100.624, 142.353, 167.751),
    "HCFO-1233zd(E)": (73.832, 108.660, 125.752, 130.336, 166.202, 216.102, 293.884, 340.019),
    "HFO-1336mzz(Z)": (39.354, 60.232, 70.724, 73.561, 96.043, 128.019, 179.074, 209.898),
    "HFO-1336mzz(E)": (110.381, 161.676, 186.723, 193.429, 245.735, 318.124, 430.295, 496.536),
    "cyclopentane": (22.612, 34.640, 40.703, 42.344, 55.378, 73.990, 103.848, 121.943),
    "n-pentane": (37.843, 56.568, 65.855, 68.355, 88.030, 115.685, 159.283, 185.359),
    "isopentane": (52.307, 76.665, 88.596, 91.795, 116.790, 151.506, 205.511, 237.492),
}

# Molar mass g/mol and boiling point °C, CoolProp 8.0.0.
MASS_AND_BOILING = {
    "CFC-11": (137.37, 23.71),
    "HCFC-141b": (116.95, 32.05),
    "HFC-245fa": (134.05, 15.05),
    "HFC-365mfc": (148.07, 40.19),
    "HCFO-1233zd(E)": (130.50, 18.13),
    "HFO-1336mzz(Z)": (164.06, 33.45),
    "HFO-1336mzz(E)": (164.05, 7.87),
    "cyclopentane": (70.133, 49.25),
    "n-pentane": (72.149, 36.06),
    "isopentane": (72.149, 27.83),
}


@pytest.mark.parametrize("agent", SATURATION_KPA)
def test_vapour_pressure_is_coolprops_within_the_fits_error(agent):
    ours = [vapour_pressure_kpa(agent, temperature_c=t) for t in TEMPERATURES_C]

    assert ours == pytest.approx(SATURATION_KPA[agent], rel=0.0013)


@pytest.mark.parametrize("agent", MASS_AND_BOILING)
def test_an_agent_boils_where_coolprop_says(agent):
    mass, boiling_c = MASS_AND_BOILING[agent]
    ours = optimize.brentq(
        lambda t: vapour_pressure_kpa(agent, temperature_c=t) - 101.325, -20.0, 60.0
    )

    assert AGENTS[agent].molar_mass == pytest.approx(mass, abs=0.005)
    assert ours == pytest.approx(boiling_c, abs=0.3)


@pytest.mark.parametrize(
    ("agent", "boiling_c"),
    [
        ("HFC-245fa", 15.3),
        ("HFC-365mfc", 40.2),
        ("HCFC-141b", 31.9),
        ("cyclopentane", 49.0),
    ],
)
def test_handbook_boiling_points_agree(agent, boiling_c):
    # UNEP foam technical options committee, 2010 report.
    assert vapour_pressure_kpa(agent, temperature_c=boiling_c) == pytest.approx(101.325, rel=0.015)


@pytest.mark.parametrize(
    ("agent", "temperature_c", "kpa", "tolerance"),
    [
        # NIST WebBook: Antoine
        ("CFC-11", 24.0, 102.645, 0.005),
        ("cyclopentane", 24.0, 40.674, 0.003),
        ("n-pentane", 24.0, 65.833, 0.002),
        # Poling, Prausnitz and O'Connell, The Properties of Gases and Liquids
        ("HCFC-141b", 24.0, 75.715, 0.005),
    ],
)
def test_independent_sources_give_the_same(agent, temperature_c, kpa, tolerance):
    assert vapour_pressure_kpa(agent, temperature_c=temperature_c) == pytest.approx(
        kpa, rel=tolerance
    )


def test_the_products_may_name_exactly_the_agents_that_can_be_computed():
    assert set(AGENTS) == products.AGENTS


def test_raoults_law_of_a_resin_with_a_tenth_of_245fa():
    # By hand: x = (10/134.05)/(10/134.05 + 90/450) = 0.2717; 0.2717 × 143.17 kPa = 38.9 kPa.
    share = mole_fraction("HFC-245fa", mass_fraction=0.10, polyol_molar_mass=450.0)

    assert share == pytest.approx(0.2717, abs=1e-4)
    assert share * vapour_pressure_kpa("HFC-245fa", temperature_c=24.0) == pytest.approx(
        38.9, rel=0.005
    )


def test_an_agents_share_goes_from_none_to_all():
    shares = [
        mole_fraction("HFC-245fa", mass_fraction=w, polyol_molar_mass=450.0) for w in (0.0, 1.0)
    ]

    assert shares == [0.0, 1.0]
