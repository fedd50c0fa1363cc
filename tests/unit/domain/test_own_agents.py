"""An agent that a product brings itself."""

import pytest

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.liquid_pressure import pressure_inputs
from drumkeep.domain.products import Side, default_product
from drumkeep.errors import Invalid
from drumkeep.thermal.vapour import AGENTS

RESIN = default_product(Side.RESIN)

# Methyl formate: Antoine's equation as fitted by hand through 101.325 kPa at its boiling point of
# 31.8 °C and 74.95 kPa at 24 °C (Perry), with 230 °C taken for c.
METHYL_FORMATE = {
    "name": "methyl formate",
    "molar_mass": 60.05,
    "a": 6.2937,
    "b": 1122.6,
    "c": 230.0,
    "low_c": -20.0,
    "high_c": 60.0,
}


def made(**properties):
    return with_overrides(RESIN, properties=properties, limits={}, origins={})


def faults(**properties):
    with pytest.raises(Invalid) as refused:
        made(**properties)
    return {fault.field: fault for fault in refused.value.faults}


def test_a_product_may_bring_its_own_agent_in_place_of_the_default():
    own = made(own_agent=METHYL_FORMATE).properties

    assert own.agent is None
    assert own.blowing_agent is not None
    assert own.blowing_agent.name == "methyl formate"
    assert own.blowing_agent.pressure_kpa(31.8) == pytest.approx(101.325, rel=0.005)
    assert own.blowing_agent.pressure_kpa(24.0) == pytest.approx(74.95, rel=0.005)


def test_an_agent_stated_with_the_figures_of_a_known_one_gives_the_same_pressure():
    known = AGENTS["n-pentane"]
    figures = {k: getattr(known, k) for k in ("name", "molar_mass", "a", "b", "c")}
    own = pressure_inputs([made(own_agent={**figures, "low_c": -20.0, "high_c": 60.0})])
    named = pressure_inputs([made(agent="n-pentane")])

    for field in ("a", "b", "c", "share"):
        assert getattr(own, field) == pytest.approx(getattr(named, field))


def test_iso_has_no_agent_even_if_one_is_stated():
    iso = with_overrides(
        default_product(Side.ISO), properties={"own_agent": METHYL_FORMATE}, limits={}, origins={}
    )

    assert pressure_inputs([iso]).share[0] == 0.0


def test_two_agents_are_refused():
    assert "properties.agent" in faults(agent="n-pentane", own_agent=METHYL_FORMATE)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("name", 7),
        ("molar_mass", 3.0),
        ("a", "six"),
        ("b", -5.0),
        ("c", True),
        ("c", float("nan")),
        ("low_c", 25.0),
        ("high_c", 30.0),
    ],
)
def test_a_figure_that_cannot_be_is_named(field, value):
    fault = faults(own_agent={**METHYL_FORMATE, field: value})[f"properties.own_agent.{field}"]

    assert fault.mend


@pytest.mark.parametrize("field", METHYL_FORMATE)
def test_no_figure_may_be_left_out(field):
    left = {name: value for name, value in METHYL_FORMATE.items() if name != field}

    assert list(faults(own_agent=left)) == [f"properties.own_agent.{field}"]


def test_a_figure_that_is_not_known_is_named():
    assert "properties.own_agent.colour" in faults(own_agent={**METHYL_FORMATE, "colour": "blue"})


@pytest.mark.parametrize("value", ["n-pentane", 4.0, [METHYL_FORMATE]])
def test_an_agent_is_an_object(value):
    assert "properties.own_agent" in faults(own_agent=value)


def test_an_equation_in_another_unit_is_refused():
    # in bar instead of kPa: a is 2 less
    in_bar = {**METHYL_FORMATE, "a": 4.2937}
    fault = faults(own_agent=in_bar)["properties.own_agent"]

    assert "kPa" in fault.mend


@pytest.mark.parametrize("value", [["n-pentane"], {"name": "n-pentane"}, 3])
def test_a_name_of_an_agent_is_a_word(value):
    assert "properties.agent" in faults(agent=value)
