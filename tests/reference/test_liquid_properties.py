"""Properties by temperature against what data sheets and measurements of such liquids state.

Resin: viscosities of one resin at 47, 62 and 77 °F, from a contractors' page. Iso: a typical data
sheet of polymeric MDI, "0.0008 kg/l/1 C", 0.43 cal/(g °C), 0.0003 cal/(cm s °C), SG 1.23 at 25 °C.
"""

import math

import numpy as np
import pytest

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.limits_used import properties_used
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.quantities import celsius_from_fahrenheit, pounds
from drumkeep.thermal.properties import viscosity

GAS_CONSTANT = 8.314462618
CALORIE_J = 4.184
"""Thermochemical."""
GALLON_L = 3.785411784
RESIN_F = ((77.0, 900.0), (62.0, 2000.0), (47.0, 7800.0))


def resin():
    return tuple((celsius_from_fahrenheit(f), mpas) for f, mpas in RESIN_F)


def test_fahrenheit_of_the_resin_is_exact():
    assert [c for c, _ in resin()] == pytest.approx([25.0, 50.0 / 3.0, 25.0 / 3.0], abs=1e-12)


def test_resin_is_as_thick_as_it_was_measured():
    at = np.array([c for c, _ in resin()])

    assert viscosity(resin(), slope_k=0.0, at_c=at) == pytest.approx([900.0, 2000.0, 7800.0])


@pytest.mark.parametrize(("cold_f", "warm_f", "kj_mol"), [(62.0, 77.0, 68.8), (47.0, 62.0, 110.8)])
def test_resin_has_the_activation_energies_of_its_three_points(cold_f, warm_f, kj_mol):
    cold_c, warm_c = celsius_from_fahrenheit(cold_f), celsius_from_fahrenheit(warm_f)
    third = (warm_c - cold_c) / 3.0
    at = np.array([cold_c + third, warm_c - third])

    cold, warm = viscosity(resin(), slope_k=0.0, at_c=at)

    slope_k = math.log(cold / warm) / (1.0 / (at[0] + 273.15) - 1.0 / (at[1] + 273.15))
    assert GAS_CONSTANT * slope_k / 1000.0 == pytest.approx(kj_mol, abs=0.2)


def test_a_data_sheet_in_calories_is_the_default_iso():
    iso = default_product(Side.ISO).properties

    assert iso.specific_heat_j_kgk == pytest.approx(0.43 * CALORIE_J * 1000.0, rel=1e-3)
    assert iso.conductivity_w_mk == pytest.approx(0.0003 * CALORIE_J * 100.0, rel=1e-3)
    assert pounds(iso.density_kg_m3 * GALLON_L / 1000.0) == pytest.approx(10.265, abs=0.005)
    assert pounds(iso.density_kg_m3 * 55.0 * GALLON_L / 1000.0) == pytest.approx(564.6, abs=0.1)


def test_densities_that_fall_by_0_0008_a_degree_expand_as_the_sheet_says():
    # 0.8/1230 = 6.504e-4 per K at 1230 kg/m³, which is the default too (6.5e-4).
    sheet = [[5.0, 1246.0], [25.0, 1230.0], [45.0, 1214.0]]
    product = with_overrides(
        default_product(Side.ISO), properties={"density_points": sheet}, limits={}, origins={}
    )

    used = {p.name: p.values for p in properties_used(product, at_c=(5.0, 25.0, 45.0))}

    assert used["density"] == pytest.approx([1246.0, 1230.0, 1214.0])
    assert used["expansion"][1] == pytest.approx(0.8 / 1230.0, rel=1e-3)
    assert used["expansion"][1] == pytest.approx(
        default_product(Side.ISO).properties.expansion_1_k, rel=1e-3
    )


@pytest.mark.parametrize(
    ("kg_m3", "lb_gal", "lb_55"),
    [(1150.0, 9.597, 527.8), (1180.0, None, 541.6), (1100.0, None, 504.9)],
)
def test_resin_weighs_what_the_trade_says_by_the_gallon(kg_m3, lb_gal, lb_55):
    per_gallon = pounds(kg_m3 * GALLON_L / 1000.0)

    assert per_gallon * 55.0 == pytest.approx(lb_55, abs=0.1)
    if lb_gal is not None:
        assert default_product(Side.RESIN).properties.density_kg_m3 == kg_m3
        assert per_gallon == pytest.approx(lb_gal, abs=0.005)
