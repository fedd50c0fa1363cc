"""Agitation before use, and air that makes steel sweat. Common practice, no source."""

from dataclasses import replace
from datetime import timedelta

import pytest

from drumkeep.domain.cautions import CAUTION_GASSING, CAUTION_TOO_HOT, CAUTION_WET
from drumkeep.domain.condensation import WetAir, wet_air
from drumkeep.domain.conditions import Condition
from drumkeep.domain.kept_off import MEASURE_SHUT
from drumkeep.domain.products import Cell, Side, default_product
from drumkeep.domain.readiness import DIP_IT, Answer, Basis, Readiness
from drumkeep.domain.wording import plain
from tests.builders.past import RESIN
from tests.builders.verdicts import NOW, computed, facts, verdict

OPEN_CELL = default_product(Side.RESIN, Cell.OPEN)


def said(lines):
    return plain(" ".join(lines))


# Agitation before use


def agitated(*hours_and_minutes):
    return facts(
        agitations=tuple((NOW - timedelta(hours=h), float(m)) for h, m in hours_and_minutes)
    )


HOT_ENOUGH = computed(85.0)


@pytest.mark.parametrize(
    ("agitations", "state"),
    [
        ((), Readiness.ON_HOLD),
        (((2, 30),), Readiness.READY),
        (((24, 30),), Readiness.READY),
        (((24.1, 30),), Readiness.ON_HOLD),
        (((2, 29),), Readiness.ON_HOLD),
        (((5, 15), (2, 15)), Readiness.READY),
        (((5, 30), (2, 5)), Readiness.READY),
        (((25, 25), (2, 15)), Readiness.ON_HOLD),
    ],
)
def test_open_cell_resin_is_ready_once_agitated_for_30_minutes_within_a_day(agitations, state):
    found = verdict(HOT_ENOUGH, product=OPEN_CELL, facts=agitated(*agitations))

    assert found.state is state
    if state is Readiness.ON_HOLD:
        assert "Agitate 30 minutes" in said(found.advice)
        assert CAUTION_GASSING in found.cautions
        assert found.answer is Answer.NOT_YET


def test_open_cell_resin_too_cold_is_too_cold_and_not_to_be_agitated_first():
    found = verdict(computed(60.0), product=OPEN_CELL)

    assert found.state is Readiness.TOO_COLD
    assert "Agitate 30 minutes" not in said(found.advice)


@pytest.mark.parametrize(("days", "state"), [(30, Readiness.READY), (31, Readiness.ON_HOLD)])
def test_resin_stored_over_thirty_days_is_agitated_first(days, state):
    old = facts(received_at=NOW - timedelta(days=days))
    found = verdict(product=RESIN, facts=old)

    assert found.state is state
    agitated_today = replace(old, agitations=((NOW - timedelta(hours=1), 30.0),))
    assert verdict(product=RESIN, facts=agitated_today).state is Readiness.READY


def test_iso_is_never_asked_to_be_agitated_for_its_age():
    old = facts(received_at=NOW - timedelta(days=100))

    assert verdict(facts=old).state is Readiness.READY


# Wet air


def test_iso_that_may_sweat_is_kept_shut():
    # 78 °F ± 1 is 25.0 °C at its lowest; it sweats below dew point + 2 K
    wet = WetAir(dew_c=23.1, humidity=90.0, assumed=False)
    dry = WetAir(dew_c=22.9, humidity=50.0, assumed=False)

    assert verdict(wet_air=wet).answer is Answer.DO_NOT_OPEN
    assert verdict(wet_air=dry).answer is Answer.READY
    assert "measured" in said(verdict(wet_air=wet).reasons)


def test_an_assumed_humidity_is_said_to_be_assumed():
    wet = WetAir(dew_c=24.0, humidity=70.0, assumed=True)

    assert "70 % humidity, assumed" in said(verdict(wet_air=wet).reasons)


def test_wet_air_is_nothing_to_resin():
    wet = WetAir(dew_c=24.0, humidity=90.0, assumed=False)

    assert verdict(product=RESIN, wet_air=wet).answer is Answer.READY


def test_a_look_for_solids_waits_until_nothing_sweats():
    wet = WetAir(dew_c=24.0, humidity=90.0, assumed=False)

    assert verdict(None, Condition.SOLIDS_SUSPECTED, wet_air=wet).answer is Answer.DO_NOT_OPEN


def test_the_wall_lies_half_way_to_colder_air_and_may_sweat_before_the_liquid():
    # Liquid at 25.0 °C at its lowest, air at 20: the wall at 22.5.
    wet = WetAir(dew_c=20.6, humidity=95.0, assumed=False, air_c=20.0)
    warm = WetAir(dew_c=20.6, humidity=60.0, assumed=False, air_c=30.0)

    assert wet.margin_k(25.0) == pytest.approx(1.9)
    assert warm.margin_k(25.0) == pytest.approx(4.4)
    assert verdict(wet_air=wet).answer is Answer.DO_NOT_OPEN
    assert verdict(wet_air=warm).answer is Answer.READY


def test_resin_that_sweats_is_wiped_and_may_be_opened():
    wet = WetAir(dew_c=25.5, humidity=90.0, assumed=False)
    dry = WetAir(dew_c=24.5, humidity=90.0, assumed=False)

    assert CAUTION_WET in verdict(product=RESIN, wet_air=wet).cautions
    assert CAUTION_WET not in verdict(product=RESIN, wet_air=dry).cautions
    assert verdict(product=RESIN, wet_air=wet).answer is Answer.READY


# Over the maximum


def test_liquid_over_its_maximum_is_kept_shut_and_left_alone():
    # iso at 85 °C (185 °F); its maximum is 120 °F, 48.9 °C
    found = verdict(computed(185.0))

    assert (found.state, found.answer) == (Readiness.TOO_WARM, Answer.DO_NOT_OPEN)
    assert "over the product's maximum of 48.9 °C" in plain(found.reasons[0])
    assert found.cautions[0] == CAUTION_TOO_HOT
    assert "Stop heating" in said(found.advice)
    assert "Move it" not in said(found.advice)


def test_the_maximum_is_kept_by_the_hottest_that_the_liquid_may_be():
    assert CAUTION_TOO_HOT in verdict(computed(119.5)).cautions
    assert CAUTION_TOO_HOT not in verdict(computed(118.5)).cautions


def test_a_hot_drum_on_hold_stays_on_hold():
    found = verdict(computed(185.0), Condition.SOLIDS_SUSPECTED)

    assert (found.state, found.answer) == (Readiness.ON_HOLD, Answer.DO_NOT_OPEN)
    assert found.cautions[0] == CAUTION_TOO_HOT
    assert "Open with care" not in said(found.advice)


def test_a_band_that_says_nothing_says_nothing_of_heat():
    wide = computed(100.0, either_way_f=40.0, basis=Basis.UNSUPPORTED)

    assert CAUTION_TOO_HOT not in verdict(wide).cautions
    hot = computed(130.0, either_way_f=40.0, basis=Basis.UNSUPPORTED)
    assert CAUTION_TOO_HOT in verdict(hot).cautions


def test_a_hot_drum_under_pressure_tells_of_the_pressure_first():
    found = verdict(computed(185.0), Condition.OVERPRESSURE, pressure_kpa=60.0)

    assert "pressure" in found.reasons[0]
    assert "over the product's maximum" in found.reasons[1]
    assert "before anything else" in found.advice[0]
    assert "Stop heating" in found.advice[1]


def test_iso_that_sweats_is_measured_on_its_steel_and_not_dipped():
    cold = replace(computed(17.0), basis=Basis.UNSUPPORTED, unmeasured=True)
    told = verdict(cold, wet_air=wet_air(air_c=10.0, humidity=70.0))
    dry = verdict(cold, wet_air=wet_air(air_c=-15.0, humidity=20.0))

    assert told.answer is Answer.ASK
    assert "Keep it shut" in told.cautions[0]
    assert told.advice == (MEASURE_SHUT,)
    assert dry.advice == (DIP_IT,)
    assert "Nobody measured it" in told.reasons[0]


def test_iso_that_sweats_is_not_mixed_before_it_is_dry():
    layered = computed(78.0, bottom_f=65.0)
    told = verdict(layered, wet_air=wet_air(air_c=30.0, humidity=90.0))

    assert told.advice[0].startswith("Wait until it is warmer")
    assert told.advice[1].startswith("Mix")
