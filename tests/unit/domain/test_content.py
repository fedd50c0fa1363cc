"""What a verdict makes of age, agent, mixed lots and solids dissolved."""

from dataclasses import replace
from datetime import timedelta

import pytest

from drumkeep.domain.cautions import CAUTION_HEATING
from drumkeep.domain.conditions import Condition, conditions_of
from drumkeep.domain.content import CAUTION_MIXED, Content
from drumkeep.domain.drums import Hold
from drumkeep.domain.liquid_age import Age
from drumkeep.domain.liquid_agent import AgentLoss
from drumkeep.domain.liquid_state import Solids, empty_states
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.readiness import Answer, Readiness
from tests.builders.past import BEGIN
from tests.builders.verdicts import NOW, facts, verdict

RESIN, ISO = default_product(Side.RESIN), default_product(Side.ISO)
EXPIRES = BEGIN + timedelta(days=160)
AGE = Age(
    made_at=BEGIN - timedelta(days=20),
    expires_at=EXPIRES,
    ends_at=EXPIRES,
    days=30.0,
    equivalent_days=44.0,
    life_days=180.0,
    counted_days=10.0,
    mkt_c=29.0,
    reference_c=23.889,
)
LOST = AgentLoss(
    whole_kg=16.0, least=0.021, likely=0.064, most=0.154, allowance=0.05, suspected=True
)


def test_an_age_within_the_shelf_life_changes_nothing():
    assert verdict(content=Content(age=AGE)).state is Readiness.READY


@pytest.mark.parametrize(("late", "state"), [(1, Readiness.READY), (0, Readiness.ON_HOLD)])
def test_a_life_that_heat_used_up_holds_the_drum_though_its_date_is_far(late, state):
    age = replace(AGE, ends_at=NOW + timedelta(seconds=late), equivalent_days=183.0)
    found = verdict(content=Content(age=age))

    assert found.state is state
    if state is Readiness.ON_HOLD:
        (reason,) = found.reasons
        assert "180 days" in reason
        assert "183 days at {t:23.89}" in reason


def test_the_date_counts_however_cool_it_was_kept():
    age = replace(AGE, equivalent_days=5.0, ends_at=NOW)
    found = verdict(content=Content(age=age), expires_at=NOW)

    assert found.state is Readiness.ON_HOLD
    assert "expired on" in found.reasons[0]


def test_agent_lost_past_the_allowance_holds_with_its_share_and_range():
    found = verdict(
        None, Condition.AGENT_LOSS_SUSPECTED, product=RESIN, content=Content(agent=LOST)
    )

    assert (found.state, found.answer) == (Readiness.ON_HOLD, Answer.ASK)
    assert "6.4 % (2.1 to 15.4 %)" in found.reasons[0]
    assert "5.0 % is allowed" in found.reasons[0]
    assert "release" in found.advice[0]


def test_a_persons_hold_stands_beside_that_of_the_agent():
    held = facts(hold=Hold(reason="dented", since=BEGIN, by=None))
    found = verdict(
        None,
        Condition.AGENT_LOSS_SUSPECTED,
        product=RESIN,
        facts=held,
        content=Content(agent=LOST),
    )

    assert len(found.reasons) == 2


def test_two_lots_in_one_drum_are_a_caution():
    found = verdict(content=Content(mixed_lots=True))

    assert found.state is Readiness.READY
    assert CAUTION_MIXED in found.cautions


def test_solids_dissolved_wait_for_the_look_and_for_no_more_heat():
    warming, done = (
        verdict(None, Condition.REDISSOLVING, solids_seen=True, content=Content(redissolved=so))
        for so in (False, True)
    )

    assert warming.answer is done.answer is Answer.LOOK_FIRST
    assert CAUTION_HEATING in warming.cautions
    assert CAUTION_HEATING not in done.cautions
    assert "record the look" in done.advice[0]


@pytest.mark.parametrize(
    ("fields", "condition"),
    [
        ({"redissolved": True}, Condition.REDISSOLVING),
        ({"warm_steps": 1}, Condition.REDISSOLVING),
        ({}, Condition.SOLIDS_SUSPECTED),
    ],
)
def test_solids_seen_are_redissolving_while_warm_and_from_then_until_the_look(fields, condition):
    states = empty_states(1)
    states["solids"] = Solids.SEEN
    for name, value in fields.items():
        states[name] = value

    found = conditions_of(states, product=ISO, bottom_low_c=20.0, mean_c=20.0)
    assert found == {condition}


def test_agent_loss_is_a_condition_of_resin_past_its_allowance():
    states = empty_states(1)
    states["mass_kg"], states["agent_lost"] = 200.0, [[0.0, 0.051, 0.2]]

    def of(product):
        return conditions_of(states, product=product, bottom_low_c=20.0, mean_c=20.0)

    assert of(RESIN) == {Condition.AGENT_LOSS_SUSPECTED}
    assert of(ISO) == frozenset()
