"""May this drum be sprayed now, why, and what to do. Limits: common practice, no source."""

import itertools
from dataclasses import fields, replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.cautions import (
    CAUTION_BULGED,
    CAUTION_HEATING,
    CAUTION_ISO,
    CAUTION_PRESSURE,
    CAUTION_SHEET,
)
from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import Hold
from drumkeep.domain.products import Cell, OutputClass, Side, default_product
from drumkeep.domain.readiness import (
    Ahead,
    Answer,
    Basis,
    Computed,
    Readiness,
)
from drumkeep.domain.wording import plain
from tests.builders.past import BEGIN, ISO, RESIN
from tests.builders.verdicts import NOW, computed, facts, verdict

OPEN_CELL = default_product(Side.RESIN, Cell.OPEN)
HELD = Hold(reason="wrong label", since=BEGIN, by=None)
UNSUPPORTED = computed(basis=Basis.UNSUPPORTED)
WARM, COLD = computed(95.0), computed(40.0)


def said(lines):
    return plain(" ".join(lines))


# The order of precedence


@pytest.mark.parametrize(
    ("liquid", "conditions", "changes", "state"),
    [
        (computed(), (), {}, Readiness.READY),
        (COLD, (), {}, Readiness.TOO_COLD),
        (WARM, (), {}, Readiness.TOO_WARM),
        # too warm at the top and too cold at the bottom: too warm comes first
        (computed(80.0, bottom_f=60.0, top_f=95.0), (), {}, Readiness.TOO_WARM),
        (UNSUPPORTED, (), {}, Readiness.UNKNOWN),
        (replace(WARM, basis=Basis.UNSUPPORTED), (), {}, Readiness.UNKNOWN),
        (UNSUPPORTED, (), {"facts": facts(hold=HELD)}, Readiness.ON_HOLD),
        (WARM, (), {"facts": facts(hold=HELD)}, Readiness.ON_HOLD),
        (UNSUPPORTED, (), {"expires_at": NOW}, Readiness.ON_HOLD),
        (COLD, (Condition.SOLIDS_SUSPECTED,), {}, Readiness.ON_HOLD),
        (UNSUPPORTED, (Condition.BULGED,), {}, Readiness.ON_HOLD),
    ],
)
def test_states_hold_in_their_order(liquid, conditions, changes, state):
    assert verdict(liquid, *conditions, **changes).state is state


@pytest.mark.parametrize(
    "conditions",
    [
        some
        for size in (1, 2, 3)
        for some in itertools.combinations(
            (
                Condition.BULGED,
                Condition.OVERPRESSURE,
                Condition.SOLIDS_SUSPECTED,
                Condition.REDISSOLVING,
            ),
            size,
        )
    ],
)
@pytest.mark.parametrize("liquid", [computed(), WARM, COLD, UNSUPPORTED])
def test_these_conditions_always_hold_a_drum_back(conditions, liquid):
    found = verdict(liquid, *conditions)

    assert found.state is Readiness.ON_HOLD
    assert found.answer is not Answer.READY
    assert found.reasons
    assert found.advice
    assert found.ready_at is None


@pytest.mark.parametrize("condition", [Condition.SEEDING_RISK, Condition.GASSING])
@pytest.mark.parametrize("side", Side)
def test_these_conditions_are_cautions_beside_readiness(condition, side):
    found = verdict(None, condition, product=default_product(side))

    assert found.state is Readiness.READY
    assert len(found.cautions) > len(verdict(product=default_product(side)).cautions)


def test_the_gravest_reason_is_the_one_that_is_told():
    everything = (Condition.BULGED, Condition.OVERPRESSURE, Condition.SOLIDS_SUSPECTED)
    held: dict[str, Any] = {"facts": facts(hold=HELD), "expires_at": NOW}

    assert "bulged" in said(verdict(None, *everything, **held).reasons)
    assert "pressure" in said(verdict(None, *everything[1:], **held).reasons)
    assert "seed solids" in said(verdict(None, *everything[2:], **held).reasons)
    assert "wrong label" in said(verdict(**held).reasons)
    assert "expired" in said(verdict(expires_at=NOW).reasons)


# Unsure is never ready


def test_a_drum_of_which_nothing_is_known_is_unknown_and_wants_a_dip():
    found = verdict(unknown=True)

    assert (found.state, found.answer) == (Readiness.UNKNOWN, Answer.ASK)
    assert "Dip the liquid" in said(found.advice)


def test_an_unsupported_temperature_tells_how_far_off_it_may_be():
    found = verdict(computed(70.0, either_way_f=18.0, basis=Basis.UNSUPPORTED))

    assert found.state is Readiness.UNKNOWN
    assert "from 11.1 °C to 31.1 °C" in said(found.reasons)
    assert "Dip the liquid" in said(found.advice)


def test_a_refused_measurement_is_told_as_why_it_is_not_known():
    liquid = replace(computed(70.0, basis=Basis.UNSUPPORTED), refused_k=-5.5)
    found = verdict(liquid)

    assert found.state is Readiness.UNKNOWN
    assert "measured 5.5 K colder than computed" in said(found.reasons)
    assert "Dip the liquid" in said(found.advice)


numbers = st.one_of(st.floats(-40.0, 60.0), st.just(float("nan")))


@given(
    values=st.lists(numbers, min_size=9, max_size=9),
    basis=st.sampled_from(Basis),
    output=st.sampled_from(OutputClass),
    side=st.sampled_from(Side),
    conditions=st.sets(st.sampled_from(Condition)),
)
def test_ready_means_known_whole_and_within_the_band(values, basis, output, side, conditions):
    names = [field.name for field in fields(Computed) if field.name.endswith("_c")]
    liquid = Computed(**dict(zip(names, values, strict=True)), basis=basis)
    product = default_product(side)
    found = verdict(liquid, *conditions, product=product, output=output)
    low, high = product.limits.use_band(output)

    if found.state is Readiness.READY:
        assert basis is not Basis.UNSUPPORTED
        assert low <= liquid.low_c
        assert liquid.high_c <= high
        assert not conditions & {
            Condition.BULGED,
            Condition.OVERPRESSURE,
            Condition.SOLIDS_SUSPECTED,
            Condition.REDISSOLVING,
        }
    if found.answer is Answer.READY:
        assert found.state is Readiness.READY


@pytest.mark.parametrize("name", [f.name for f in fields(Computed) if f.name != "basis"])
def test_a_temperature_that_is_no_number_makes_a_drum_unknown(name):
    broken: dict[str, Any] = {name: float("nan")}
    found = verdict(replace(computed(), **broken))

    assert found.state is Readiness.UNKNOWN
    assert "nan" not in said((*found.reasons, *found.advice))


@pytest.mark.parametrize("basis", [Basis.MEASURED, Basis.MODELLED])
def test_what_is_supported_may_be_ready(basis):
    assert verdict(computed(basis=basis)).state is Readiness.READY


# The use band, taken at its unsafe side


@pytest.mark.parametrize(
    ("liquid", "output", "state"),
    [
        (computed(71.1), OutputClass.FROM_20, Readiness.READY),
        (computed(70.9), OutputClass.FROM_20, Readiness.TOO_COLD),
        (computed(88.9), OutputClass.FROM_20, Readiness.READY),
        (computed(89.1), OutputClass.FROM_20, Readiness.TOO_WARM),
        (computed(51.1), OutputClass.UNDER_20, Readiness.READY),
        (computed(50.9), OutputClass.UNDER_20, Readiness.TOO_COLD),
        (computed(60.0), OutputClass.FROM_20, Readiness.TOO_COLD),
        # all of it counts, not the mean
        (computed(78.0, bottom_f=68.0), OutputClass.FROM_20, Readiness.TOO_COLD),
        (computed(78.0, top_f=90.0), OutputClass.FROM_20, Readiness.TOO_WARM),
        # the doubt counts too
        (computed(78.0, either_way_f=9.0), OutputClass.FROM_20, Readiness.TOO_COLD),
    ],
)
def test_the_whole_band_must_lie_in_the_use_band(liquid, output, state):
    assert verdict(liquid, output=output).state is state


def test_reasons_tell_the_temperature_and_the_limit():
    reasons = said(verdict(computed(60.0)).reasons)

    assert "15.0 °C" in reasons  # 59 °F
    assert "21.1 °C" in reasons  # 70 °F


def test_a_products_own_use_band_counts():
    picky = replace(ISO, limits=replace(ISO.limits, use_low_from_20_c=26.0))

    assert verdict(computed(78.0), product=picky).state is Readiness.TOO_COLD


# What to do with a cold one


def test_a_warm_mean_over_a_cold_bottom_wants_fifteen_minutes_of_mixing():
    found = verdict(computed(75.0, bottom_f=66.0))

    assert found.state is Readiness.TOO_COLD
    assert "Mix 15 minutes" in said(found.advice)


def test_resin_is_mixed_only_at_or_below_75_f():
    mean_high = computed(76.0, bottom_f=66.0)

    assert "Mix 15 minutes" in said(verdict(computed(74.9, bottom_f=66.0), product=RESIN).advice)
    assert "Mix 15 minutes" not in said(verdict(mean_high, product=RESIN).advice)
    assert "Mix 15 minutes" in said(verdict(mean_high, product=ISO).advice)


def test_a_mean_that_may_be_too_cold_itself_is_not_to_be_mixed_into_readiness():
    assert "Mix 15 minutes" not in said(verdict(computed(70.5, bottom_f=60.0)).advice)


def test_the_earlier_time_by_mixing_is_told():
    ahead = Ahead(
        ready_at=NOW + timedelta(hours=30), mixed_at=NOW + timedelta(hours=20), warm_room=None
    )
    found = verdict(COLD, ahead=ahead)

    assert found.ready_at == NOW + timedelta(hours=30)
    when = plain(f"{{w:{(NOW + timedelta(hours=20)).isoformat()}}}")
    assert f"ix it 15 minutes, from {when} on: then it is ready." in said(found.advice)


def test_the_warm_room_is_named_with_the_caution_about_heating():
    ahead = Ahead(warm_room="the warm room", ready_in_warm_room_at=NOW + timedelta(hours=20))
    found = verdict(COLD, ahead=ahead)

    assert "the warm room" in said(found.advice)
    assert CAUTION_HEATING in found.cautions


def test_a_drum_that_gets_nowhere_is_said_to():
    assert "in four days" in said(verdict(COLD, ahead=Ahead()).advice)


def test_a_warm_room_that_can_never_do_it_says_so():
    note = "The warm room at 20 °C never brings it there: set it to 24 °C."

    assert note in verdict(COLD, ahead=Ahead(never_note=note)).advice


@pytest.mark.parametrize(
    ("liquid", "conditions"), [(computed(), ()), (COLD, (Condition.BULGED,)), (UNSUPPORTED, ())]
)
def test_only_a_drum_that_waits_for_its_temperature_has_a_time(liquid, conditions):
    ahead = Ahead(ready_at=NOW + timedelta(hours=5))

    assert verdict(liquid, *conditions, ahead=ahead).ready_at is None


# Expiry, holds, solids


def test_a_lot_expires_to_the_second():
    assert verdict(expires_at=NOW + timedelta(seconds=1)).state is Readiness.READY
    assert verdict(expires_at=NOW).state is Readiness.ON_HOLD


def test_suspected_solids_want_a_look_and_seen_ones_heat_and_agitation():
    feared = verdict(None, Condition.SOLIDS_SUSPECTED)
    seen = verdict(None, Condition.SOLIDS_SUSPECTED, solids_seen=True)

    assert feared.answer is seen.answer is Answer.LOOK_FIRST
    assert "probe the bottom" in said(feared.advice)
    assert "32.2 °C or over for 4 h with 30 min of agitation" in said(seen.advice)
    assert CAUTION_HEATING in seen.cautions


def test_the_temperature_that_redissolves_is_the_products_own():
    own = replace(ISO, limits=replace(ISO.limits, redissolve_c=40.0))
    found = verdict(None, Condition.SOLIDS_SUSPECTED, product=own, solids_seen=True)

    assert "40.0 °C or over" in said(found.advice)


def test_solids_being_redissolved_still_hold_it():
    found = verdict(computed(95.0), Condition.REDISSOLVING)

    assert (found.state, found.answer) == (Readiness.ON_HOLD, Answer.LOOK_FIRST)


# Cautions


@pytest.mark.parametrize("liquid", [computed(), WARM, COLD, UNSUPPORTED, None])
@pytest.mark.parametrize("side", Side)
def test_every_verdict_defers_to_the_safety_data_sheet(liquid, side):
    found = verdict(liquid, product=default_product(side), unknown=liquid is None)

    assert found.cautions[-1] == CAUTION_SHEET
    assert (CAUTION_ISO in found.cautions) == (side is Side.ISO)


def test_danger_comes_first_among_the_cautions():
    assert verdict(None, Condition.BULGED).cautions[0] == CAUTION_BULGED
    assert verdict(None, Condition.OVERPRESSURE).cautions[0] == CAUTION_PRESSURE
    both = verdict(None, Condition.BULGED, Condition.OVERPRESSURE)
    assert {CAUTION_BULGED, CAUTION_PRESSURE} == set(both.cautions[:2])
    assert both.answer is Answer.DO_NOT_OPEN


def test_every_state_has_a_reason():
    for found in (
        verdict(),
        verdict(COLD),
        verdict(WARM),
        verdict(UNSUPPORTED),
        verdict(unknown=True),
        verdict(expires_at=NOW),
        verdict(computed(85.0), product=OPEN_CELL),
    ):
        assert found.reasons
        assert all(reason.endswith(".") for reason in found.reasons)
