"""UN marks and degrees of filling by the transport regulations.

Marks: 49 CFR 178.503 (a summary of it). Limits: 49 CFR 173.24a(b)(1), (b)(4) and (d), its text as
amended to 2022 (87 FR 79775); 178.605(d), and UN Model Regulations, ADR, IMDG 4.1.1.10 and 4.1.1.4
with their worked examples, from memory.
"""

import pytest

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.filling import filling_of
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.un_mark import LEAST_TEST_GROUP_I_KPA, least_test_kpa, parse
from drumkeep.thermal.headspace import adr_fill, most_fill


def test_a_mark_is_read_as_the_regulation_writes_it():
    mark = parse("1A1/Y1.4/150")

    assert (mark.material, mark.head) == ("steel", "closed")
    assert mark.packing_groups == ("II", "III")
    assert (mark.max_relative_density, mark.test_kpa) == (1.4, 150.0)


@pytest.mark.parametrize(
    ("test_kpa", "vapour_50", "vapour_55", "gauge_55"),
    [
        (100, 114.29, 133.33, 66.67),
        (150, 142.86, 166.67, 100.00),
        (200, 171.43, 200.00, 133.33),
        (250, 200.00, 233.33, 166.67),
        (300, 228.57, 266.67, 200.00),
    ],
)
def test_a_test_pressure_has_the_limits_of_the_three_rules(
    test_kpa, vapour_50, vapour_55, gauge_55
):
    mark = parse(f"UN 1A1/Y1.4/{test_kpa}/26/USA")

    assert mark.vapour_50_kpa == pytest.approx(vapour_50, abs=0.005)
    assert mark.vapour_55_kpa == pytest.approx(vapour_55, abs=0.005)
    assert mark.gauge_55_kpa == pytest.approx(gauge_55, abs=0.005)


@pytest.mark.parametrize(
    ("liquid", "vapour_55_kpa", "floor", "marked"),
    # The worked examples printed in 4.1.1.10: tetrahydrofuran, n-decane, dichloromethane, ether
    [
        ("tetrahydrofuran", 70.0, 100.0, 100.0),
        ("n-decane", 1.4, 100.0, 100.0),
        ("dichloromethane", 164.0, 100.0, 150.0),
        ("diethyl ether", 199.0, LEAST_TEST_GROUP_I_KPA, 250.0),
    ],
)
def test_the_regulations_own_examples_ask_for_their_marks(liquid, vapour_55_kpa, floor, marked):
    assert least_test_kpa(vapour_55_kpa, floor_kpa=floor) == marked, liquid


@pytest.mark.parametrize(
    ("expansion", "not_full", "adr"), [(6.5e-4, 0.9747, 0.9582), (8e-4, 0.9690, 0.9533)]
)
def test_a_drum_filled_at_15_c_may_be_so_full(expansion, not_full, adr):
    # 100/(1 + 40 β) %; 98/(1 + 35 β) %
    assert most_fill(expansion_1_k=expansion, filled_c=15.0) == pytest.approx(not_full, abs=5e-5)
    assert adr_fill(expansion_1_k=expansion, filled_c=15.0) == pytest.approx(adr, abs=5e-5)


def test_a_drum_of_iso_filled_at_20_c_is_full_at_55_by_hand():
    # 216.5 L × 1230 kg/m³ / (1 + 35 × 6.5e-4) = 260.37 kg
    filling = filling_of(default_product(Side.ISO), net_kg=260.37)

    assert filling.most_kg == pytest.approx(260.37, abs=0.01)
    assert filling.full_c == pytest.approx(55.0, abs=0.05)
    assert filling.fill == pytest.approx(260.37 / (0.2165 * 1230.0))


def test_a_data_sheets_densities_say_how_it_expands():
    # ADR: a = (d15 − d50)/(35 d50) of the sheet's own figures, here from 20 to 55 °C
    product = with_overrides(
        default_product(Side.ISO),
        properties={"density_points": [[20.0, 1234.0], [55.0, 1200.0]]},
        limits={},
        origins={},
    )

    assert filling_of(product, net_kg=250.0).most_kg == pytest.approx(0.2165 * 1200.0)
