"""How old a drum is: by its dates, and by the heat it went through."""

from datetime import date, timedelta

import numpy as np
import pytest

from drumkeep.domain.liquid_age import (
    STEPS_PER_DAY,
    LotLife,
    age_of,
    begin_age,
    grow_older,
    lot_life,
    take_older,
)
from drumkeep.domain.liquid_state import empty_states
from tests.builders.past import BEGIN, FIRST, HALL, ISO, place, received, state_after, step

REFERENCE_C = ISO.limits.age_reference_c
LIFE = lot_life(ISO, lot=7, made_on=BEGIN.date() - timedelta(days=10), expires_on=None)


def drum(*, life=LIFE, **receipt):
    states = empty_states(1)
    begin_age(states, life=life, product=ISO, receipt=receipt, step=FIRST)
    return states


def kept(c, *, days, states=None):
    """A drum kept for so many days at one temperature."""
    states = drum() if states is None else states
    for _ in range(round(days * STEPS_PER_DAY)):
        grow_older(states, mean_c=np.array([c]))
    return states


def age(states, *, days=0.0):
    return age_of(states, product=ISO, step=FIRST + round(days * STEPS_PER_DAY))


def test_the_reference_is_the_top_of_the_storage_band():
    # the shelf life holds for liquid kept anywhere in the band, 50 to 75 °F
    assert ISO.limits.storage_high_c == REFERENCE_C
    assert age(kept(REFERENCE_C, days=5), days=5).equivalent_days == pytest.approx(15.0)


def test_time_before_the_receipt_counts_at_the_reference():
    found = age(drum(), days=0)

    assert (found.days, found.equivalent_days) == (10.0, 10.0)
    assert (found.counted_days, found.mkt_c) == (0.0, None)


def test_a_steady_temperature_is_its_mean_kinetic_temperature():
    found = age(kept(31.0, days=3), days=3)

    assert found.mkt_c == pytest.approx(31.0, abs=1e-9)
    assert found.counted_days == 3.0


def test_equal_times_at_20_and_30_c_have_the_mean_kinetic_temperature_of_usp():
    # worked from the formula of USP <1079>: 26.260 °C
    found = age(kept(30.0, days=2, states=kept(20.0, days=2)), days=4)

    assert found.mkt_c == pytest.approx(26.260, abs=0.001)


def test_heat_makes_it_older_than_its_days_and_ends_its_life_sooner():
    # ten kelvin above the reference, by hand: exp(10000 (1/297.0389 − 1/307.0389)) = 2.9934
    found = age(kept(REFERENCE_C + 10.0, days=4), days=4)

    assert found.days == 14.0
    assert found.equivalent_days == pytest.approx(10.0 + 4.0 * 2.9934, abs=0.002)
    assert found.expires_at == BEGIN + timedelta(days=170)
    taken = found.expires_at - found.ends_at
    assert taken.total_seconds() / 86400 == pytest.approx(4.0 * 1.9934, abs=0.005)


def test_cold_makes_it_younger_but_never_lengthens_its_life():
    found = age(kept(10.0, days=4), days=4)

    assert found.equivalent_days < found.days
    assert found.ends_at == found.expires_at


def test_cold_does_not_bring_back_a_life_that_heat_has_ended():
    states = kept(60.0, days=5)
    ended = age(states, days=5)
    assert ended.ends_at < BEGIN + timedelta(days=5)

    later = age(kept(-5.0, days=30, states=states), days=35)
    assert later.ends_at < BEGIN + timedelta(days=35)


@pytest.mark.parametrize("c", [400.0, 5000.0, 1e9])
def test_no_heat_whatever_is_told_takes_off_more_than_the_life(c):
    found = age(kept(c, days=1), days=1)

    assert found.ends_at == found.made_at


def test_what_is_not_measured_counts_at_the_reference():
    found = age(kept(35.0, days=1), days=6)

    assert found.counted_days == 1.0
    # by hand: exp(10000 (1/297.0389 − 1/308.15)) = 3.3666
    assert found.equivalent_days == pytest.approx(15.0 + 3.3666, abs=0.001)


def test_the_makers_own_date_is_the_end_where_there_is_one():
    life = lot_life(ISO, lot=1, made_on=date(2026, 1, 1), expires_on=date(2026, 4, 1))
    found = age(drum(life=life))

    assert found.expires_at.date() == date(2026, 4, 1)
    assert found.life_days == 90.0


def test_a_drum_older_than_its_lot_goes_by_its_own_label():
    found = age(drum(made_on=(BEGIN.date() - timedelta(days=25)).isoformat()))

    assert found.days == 25.0
    assert found.expires_at == BEGIN + timedelta(days=155)


def test_a_label_younger_than_the_lot_changes_nothing():
    assert age(drum(made_on=BEGIN.date().isoformat())) == age(drum())


def test_a_drum_of_a_lot_made_tomorrow_is_not_younger_than_its_receipt():
    # the lot's day may have begun elsewhere already
    life = LotLife(lot=1, made=FIRST + 100, expires=FIRST + 1000)

    assert age(drum(life=life)).days == 0.0


def test_of_two_ages_poured_together_the_older_dates_and_the_greater_heat_count():
    young = LotLife(lot=8, made=FIRST - 100, expires=FIRST + 50_000)
    hot = kept(35.0, days=2, states=drum(life=young))
    for states, other in ((hot.copy(), drum()), (drum(), hot)):
        before = [age(s, days=2) for s in (states, other)]
        take_older(states, other=other, product=ISO)
        found = age(states, days=2)
        assert found.made_at == min(a.made_at for a in before)
        assert found.expires_at == min(a.expires_at for a in before)
        assert found.mkt_c == pytest.approx(35.0)
        assert found.equivalent_days >= max(a.equivalent_days for a in before)
        assert found.ends_at <= min(a.ends_at for a in before)


def test_a_drum_grows_older_with_every_step_that_it_is_known():
    states = state_after([received(liquid_c=30.0)], hours=24.0, places=30.0)
    found = age_of(states, product=ISO, step=step(24.0))

    assert found.counted_days == 1.0
    assert found.mkt_c == pytest.approx(30.0, abs=1e-6)
    unknown = state_after([received()], hours=24.0, places={HALL: place(None, hours=24.0)})
    assert age_of(unknown, product=ISO, step=step(24.0)).counted_days == 0.0
    assert age_of(unknown, product=ISO, step=step(24.0)).equivalent_days == 1.0
