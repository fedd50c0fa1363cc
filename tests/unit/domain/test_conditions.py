"""What memory, pressure and looks amount to, in the trade's words."""

import numpy as np
import pytest

from drumkeep.domain.conditions import Condition, conditions_of, was_cold
from drumkeep.domain.liquid_pressure import note_overpressure
from drumkeep.domain.liquid_state import Solids, empty_states
from drumkeep.domain.products import Side, default_product

ISO, RESIN = default_product(Side.ISO), default_product(Side.RESIN)
NAN = float("nan")


def conditions(product=ISO, *, bottom_low_c=20.0, mean_c=21.0, **fields):
    states = empty_states(1)
    for name, value in fields.items():
        states[name] = value
    return conditions_of(states, product=product, bottom_low_c=bottom_low_c, mean_c=mean_c)


def test_a_drum_with_nothing_on_record_is_clear():
    assert conditions(ISO) == conditions(RESIN) == frozenset()


@pytest.mark.parametrize(
    ("product", "how", "condition"),
    [
        (ISO, {"bottom_low_c": 9.99}, Condition.SEEDING_RISK),
        (ISO, {"solids": Solids.SUSPECTED}, Condition.SOLIDS_SUSPECTED),
        (ISO, {"solids": Solids.SEEN}, Condition.SOLIDS_SUSPECTED),
        (ISO, {"solids": Solids.SEEN, "warm_steps": 1}, Condition.REDISSOLVING),
        (RESIN, {"mean_c": 23.9}, Condition.GASSING),
        (RESIN, {"mean_c": 23.5, "gas_since": 7}, Condition.GASSING),
        (ISO, {"overpressure": True}, Condition.OVERPRESSURE),
        (RESIN, {"bulged": True}, Condition.BULGED),
    ],
)
def test_each_condition_follows_from_its_cause(product, how, condition):
    assert conditions(product, **how) == {condition}


def test_solids_only_suspected_are_not_redissolving_however_warm_it_is():
    assert conditions(solids=Solids.SUSPECTED, warm_steps=99) == {Condition.SOLIDS_SUSPECTED}


def test_iso_does_not_gas_and_resin_does_not_seed():
    assert conditions(ISO, mean_c=40.0, gas_since=7) == frozenset()
    assert conditions(RESIN, bottom_low_c=-5.0, solids=Solids.SUSPECTED) == frozenset()


def test_a_limit_reached_is_not_passed():
    assert conditions(ISO, bottom_low_c=ISO.limits.seed_c) == frozenset()
    assert conditions(RESIN, mean_c=RESIN.limits.gassing_c) == frozenset()


def test_what_is_not_known_is_no_condition():
    assert conditions(ISO, bottom_low_c=NAN, mean_c=NAN) == frozenset()


def test_conditions_stand_together():
    found = conditions(bottom_low_c=5.0, solids=Solids.SUSPECTED, bulged=True)

    assert found == {Condition.SEEDING_RISK, Condition.SOLIDS_SUSPECTED, Condition.BULGED}


def test_overpressure_is_on_above_50_kpa_and_off_only_at_45():
    states = empty_states(1)
    seen = []
    for gauge in (49.0, 50.0, 50.1, 49.0, 45.1, 45.0, 48.0):
        note_overpressure(states, gauge=np.array([gauge]))
        seen.append(bool(states["overpressure"][0]))

    assert seen == [False, False, True, True, True, False, False]


def test_a_drum_of_unknown_pressure_is_not_over_it():
    states = empty_states(1)
    note_overpressure(states, gauge=np.array([NAN]))

    assert not states["overpressure"][0]


def test_the_mark_of_cold_tells_the_coldest_and_the_hours():
    states = empty_states(1)
    states["coldest_c"], states["cold_total_steps"] = 4.5, 30

    assert was_cold(states, product=ISO) == (4.5, 2.5)
    assert was_cold(states, product=RESIN) is None


def test_a_drum_that_never_was_cold_has_no_mark():
    states = empty_states(1)
    assert was_cold(states, product=ISO) is None

    states["coldest_c"] = 12.0
    assert was_cold(states, product=ISO) is None
