"""Defaults of a side, and a data sheet's own figures in their place."""

from dataclasses import fields

import pytest

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.products import (
    ASSUMED,
    GIVEN,
    JUDGED,
    NO_POINTS,
    ONE_RESIN,
    PRACTICE,
    SHEETS,
    Cell,
    Limits,
    OutputClass,
    Properties,
    Side,
    default_product,
)
from drumkeep.domain.quantities import fahrenheit
from drumkeep.errors import Invalid

ISO, RESIN = default_product(Side.ISO), default_product(Side.RESIN)
OPEN = default_product(Side.RESIN, Cell.OPEN)


def overridden(product=ISO, *, properties=None, limits=None, origins=None):
    return with_overrides(
        product, properties=properties or {}, limits=limits or {}, origins=origins or {}
    )


def faults(**how):
    with pytest.raises(Invalid) as refused:
        overridden(**how)
    return {fault.field: fault for fault in refused.value.faults}


def use_band_f(product, output):
    return [fahrenheit(limit) for limit in product.limits.use_band(output)]


# Common practice, no source: the bands of the trade, °F.


@pytest.mark.parametrize("product", [ISO, RESIN, OPEN])
def test_both_sides_are_stored_at_50_to_75_f(product):
    limits = product.limits

    assert fahrenheit(limits.storage_low_c) == pytest.approx(50.0)
    assert fahrenheit(limits.storage_high_c) == pytest.approx(75.0)


@pytest.mark.parametrize("product", [ISO, RESIN])
@pytest.mark.parametrize(
    ("output", "low_f"), [(OutputClass.UNDER_20, 50.0), (OutputClass.FROM_20, 70.0)]
)
def test_the_use_band_is_50_or_70_to_90_f_by_output(product, output, low_f):
    assert use_band_f(product, output) == pytest.approx([low_f, 90.0])


def test_open_cell_resin_is_used_at_80_to_90_f_and_agitated_for_30_minutes_first():
    for output in OutputClass:
        assert use_band_f(OPEN, output) == pytest.approx([80.0, 90.0])
    assert OPEN.limits.agitate_before_use_min == 30.0


def test_limits_are_stored_exactly():
    assert ISO.limits.storage_high_c == (75.0 - 32.0) / 1.8
    assert ISO.limits.storage_high_c != 23.889


def test_every_limit_and_property_tells_where_it_comes_from():
    for part, kind in ((ISO.limits, Limits), (ISO.properties, Properties)):
        for field in fields(part):
            origin = ISO.origin(field.name)
            if field.name == "agent_loss_allowance":
                assert origin == JUDGED
            elif kind is Limits or field.name == "net_kg":
                assert origin == PRACTICE
            elif field.name.endswith("_points"):
                assert origin == NO_POINTS
            else:
                assert origin in (SHEETS, ASSUMED)


# domain.md tells which defaults were read on data sheets and which were not; here the words for it.


def test_default_figures_say_what_they_are():
    assert ISO.origin("density_kg_m3") == ISO.origin("specific_heat_j_kgk") == SHEETS
    assert ISO.origin("viscosity_slope_k") == ASSUMED
    assert RESIN.origin("viscosity_mpas_25c") == RESIN.origin("viscosity_slope_k") == ONE_RESIN
    assert RESIN.origin("specific_heat_j_kgk") == ASSUMED
    assert OPEN.origin("density_kg_m3") == ASSUMED


def test_points_bring_their_origin_to_the_single_figures_that_follow_from_them():
    sheet = "supplier's data sheet, page 2"
    product = overridden(
        properties={"viscosity_points": [[15, 410], [25, 200]], "density_points": [[25, 1225]]},
        origins={"viscosity_points": sheet},
    )

    assert product.origin("viscosity_mpas_25c") == product.origin("viscosity_slope_k") == sheet
    assert product.origin("density_kg_m3") == GIVEN
    assert product.origin("expansion_1_k") == SHEETS  # one point tells no expansion


def test_single_figures_are_what_the_points_say():
    own = overridden(
        properties={
            "density_points": [[15, 1234.0], [25, 1226.0]],
            "specific_heat_points": [[10, 1780.0], [30, 1820.0]],
            "conductivity_points": [[0, 0.13], [40, 0.12]],
            "viscosity_points": [[15, 410.0], [35, 100.0]],
        }
    ).properties

    assert own.density_kg_m3 == pytest.approx(1230.0)
    assert own.expansion_1_k == pytest.approx((1234.0 / 1226.0 - 1.0) / 10.0)
    assert own.specific_heat_j_kgk == pytest.approx(1800.0)
    assert own.conductivity_w_mk == pytest.approx(0.125)
    # log-linear in 1/T: 25 °C lies at the share (1/288.15 - 1/298.15) / (1/288.15 - 1/308.15)
    share = (1 / 288.15 - 1 / 298.15) / (1 / 288.15 - 1 / 308.15)
    assert own.viscosity_mpas_25c == pytest.approx(410.0 * (100.0 / 410.0) ** share)


def test_one_density_point_expands_from_its_own_temperature():
    own = overridden(properties={"density_points": [[25, 1226.0]]}).properties

    assert own.density_kg_m3 == pytest.approx(1226.0 * (1.0 + 6.5e-4 * 5.0))


# Points that cannot be: each names where it is, and how to mend it.


@pytest.mark.parametrize(
    ("points", "field"),
    [
        ("25: 200", "viscosity_points"),
        ({"25": 200}, "viscosity_points"),
        ([[c, 200.0] for c in range(13)], "viscosity_points"),
        ([[25, 200, 3]], "viscosity_points.0"),
        ([[15, 410], 25], "viscosity_points.1"),
        ([[15, "410"]], "viscosity_points.0"),
        ([[True, 410]], "viscosity_points.0"),
        ([[15, None]], "viscosity_points.0"),
        ([[15, float("nan")]], "viscosity_points.0"),
        ([[float("inf"), 410]], "viscosity_points.0"),
        ([[15, 0.0]], "viscosity_points.0"),
        ([[-41, 410]], "viscosity_points.0"),
        ([[15, 410], [15, 400]], "viscosity_points"),
        ([[15, 410], [15.5, 400]], "viscosity_points"),
        ([[15, 200], [25, 410]], "viscosity_points"),
        ([[15, 410], [25, 20]], "viscosity_points"),
    ],
)
def test_points_of_viscosity_that_cannot_be_are_refused(points, field):
    found = faults(properties={"viscosity_points": points})

    assert set(found) == {f"properties.{field}"}
    assert found[f"properties.{field}"].mend.endswith(".")


@pytest.mark.parametrize(
    ("name", "points"),
    [
        ("specific_heat_points", [[20, 1500], [25, 1900]]),
        ("conductivity_points", [[20, 0.2], [25, 0.12]]),
    ],
)
def test_points_whose_line_leaves_all_reason_are_refused(name, points):
    assert set(faults(properties={name: points})) == {f"properties.{name}"}


def test_a_data_sheets_figure_takes_the_place_of_the_default_with_its_origin():
    made = overridden(
        properties={"density_kg_m3": 1240},
        limits={"seed_c": 12.0},
        origins={"seed_c": "data sheet of 2026, page 2"},
    )

    assert made.properties.density_kg_m3 == 1240.0
    assert made.limits.seed_c == 12.0
    assert made.origin("seed_c") == "data sheet of 2026, page 2"
    assert made.limits.storage_low_c == ISO.limits.storage_low_c
    assert ISO.limits.seed_c != 12.0


def test_every_fault_is_named_at_once():
    found = faults(
        properties={"density_kg_m3": "heavy", "colour": 1, "agent_mass_fraction": 0.9},
        limits={"seed_c": 400.0, "use_high_c": True},
        origins={"smell": "nose"},
    )

    assert set(found) == {
        "properties.density_kg_m3",
        "properties.colour",
        "properties.agent_mass_fraction",
        "limits.seed_c",
        "limits.use_high_c",
        "origins.smell",
    }
    assert all(fault.mend.endswith(".") for fault in found.values())


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_ordinary_number_is_refused(value):
    assert set(faults(limits={"seed_c": value})) == {"limits.seed_c"}


@pytest.mark.parametrize(
    ("limits", "field"),
    [
        ({"storage_low_c": 24.0}, "limits.storage_low_c"),
        ({"use_low_from_20_c": 33.0}, "limits.use_low_from_20_c"),
        ({"deep_seed_c": 10.0, "seed_c": 10.0}, "limits.deep_seed_c"),
        ({"use_high_c": 60.0}, "limits.use_high_c"),
    ],
)
def test_limits_out_of_order_are_refused(limits, field):
    assert set(faults(limits=limits)) == {field}


def test_an_agent_not_known_is_refused_and_none_is_an_agent_too():
    assert "properties.agent" in faults(product=RESIN, properties={"agent": "HFC-9000"})
    assert overridden(RESIN, properties={"agent": None}).properties.agent is None
    assert overridden(RESIN, properties={"agent": "n-pentane"}).properties.agent == "n-pentane"


def test_the_sides_carry_their_letters():
    assert (Side.ISO.letter, Side.RESIN.letter) == ("A", "B")


@pytest.mark.parametrize("warm", [1230.0, 1240.0, 1000.0])
def test_densities_between_which_a_liquid_does_not_expand_like_one_are_refused(warm):
    assert "properties.density_points" in faults(
        properties={"density_points": [[20.0, 1230.0], [55.0, warm]]}
    )
