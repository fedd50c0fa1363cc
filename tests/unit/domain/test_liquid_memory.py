"""What the liquid remembers. All limits here are common practice, no source."""

from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.liquid_memory import remember, see_none, see_solids, stir, take_colder
from drumkeep.domain.liquid_state import NEVER, Solids, empty_states
from drumkeep.domain.liquid_surroundings import memory_limits
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.thermal.band import Band

ISO, RESIN = default_product(Side.ISO), default_product(Side.RESIN)
HOUR = 12  # steps


def f(fahrenheit):
    return celsius_from_fahrenheit(fahrenheit)


def one_drum():
    states = empty_states(1)
    states["alive"] = states["resolved"] = True
    return states


def band(likely_c, *, low_c=None, mean_c=None):
    """A band of one drum: its bottom, the bottom's low, and the mean; plain where left out."""

    def one(value):
        return np.array([float(value)])

    low_c = likely_c if low_c is None else low_c
    mean_c = likely_c if mean_c is None else mean_c
    return Band(
        bottom=one(likely_c),
        bottom_low=one(low_c),
        bottom_high=one(likely_c),
        mean=one(mean_c),
        mean_low=one(mean_c),
        mean_high=one(mean_c),
        top=one(mean_c),
        top_low=one(mean_c),
        top_high=one(mean_c),
    )


def live(states, *, steps, first=0, product=ISO, **how):
    """Let a drum stand for so many steps in one band."""
    for step in range(first, first + steps):
        remember(states, band=band(**how), limits=memory_limits([product]), step=step)
    return first + steps


# Seeding


def test_two_hours_in_sum_under_50_f_make_solids_suspected():
    states = one_drum()
    now = live(states, steps=HOUR, likely_c=f(49.9))
    now = live(states, steps=30 * HOUR, first=now, likely_c=f(60.0))
    now = live(states, steps=HOUR - 1, first=now, likely_c=f(49.9))
    assert states["solids"][0] == Solids.NONE

    live(states, steps=1, first=now, likely_c=f(49.9))
    assert states["solids"][0] == Solids.SUSPECTED


def test_it_is_the_likely_bottom_that_counts_towards_the_two_hours():
    states = one_drum()
    live(states, steps=100 * HOUR, likely_c=f(50.0), low_c=f(45.0))

    assert states["cold_steps"][0] == 0
    assert states["solids"][0] == Solids.NONE


def test_fifteen_minutes_of_low_bottom_under_41_f_make_solids_suspected():
    states = one_drum()
    now = live(states, steps=2, likely_c=f(52.0), low_c=f(40.9))
    assert states["solids"][0] == Solids.NONE

    live(states, steps=1, first=now, likely_c=f(52.0), low_c=f(40.9))
    assert states["solids"][0] == Solids.SUSPECTED


def test_the_fifteen_minutes_must_be_without_a_break():
    states = one_drum()
    now = live(states, steps=2, likely_c=f(52.0), low_c=f(40.9))
    now = live(states, steps=1, first=now, likely_c=f(52.0), low_c=f(41.0))
    live(states, steps=2, first=now, likely_c=f(52.0), low_c=f(40.9))

    assert states["solids"][0] == Solids.NONE


def test_warming_alone_never_clears():
    states = one_drum()
    now = live(states, steps=2 * HOUR, likely_c=f(45.0))
    live(states, steps=1000 * HOUR, first=now, likely_c=f(95.0))

    assert states["solids"][0] == Solids.SUSPECTED


def test_no_seeding_memory_runs_while_the_start_is_not_known():
    states = one_drum()
    states["resolved"] = False
    now = live(states, steps=10 * HOUR, likely_c=f(30.0))
    assert (states["cold_steps"][0], states["solids"][0]) == (0, Solids.NONE)
    assert not np.isfinite(states["coldest_c"][0])

    states["resolved"] = True
    live(states, steps=2 * HOUR, first=now, likely_c=f(45.0))
    assert states["solids"][0] == Solids.SUSPECTED


def test_resin_neither_seeds_nor_remembers_cold():
    states = one_drum()
    live(states, steps=10 * HOUR, likely_c=f(20.0), product=RESIN)

    assert states["solids"][0] == Solids.NONE
    assert states["cold_total_steps"][0] == 0
    assert states["seed_since"][0] == NEVER


def test_the_mark_of_cold_keeps_the_coldest_and_all_hours_for_ever():
    states = one_drum()
    now = live(states, steps=3 * HOUR, likely_c=f(45.0))
    now = live(states, steps=HOUR, first=now, likely_c=f(42.0))
    states["cold_steps"] = 0  # as a clear look does
    live(states, steps=10 * HOUR, first=now, likely_c=f(70.0))

    assert states["coldest_c"][0] == pytest.approx(f(42.0))
    assert states["cold_total_steps"][0] == 4 * HOUR
    # by hand: 3 h × 5 °F + 1 h × 8 °F = 23 °F h
    assert states["degree_hours"][0] == pytest.approx(23.0 / 1.8)


# Redissolving


def seen():
    """A drum in which solids were seen."""
    states = one_drum()
    see_solids(states)
    return states


def test_solids_are_redissolved_after_four_hours_at_90_f_with_half_an_hour_of_agitation():
    states = seen()
    now = live(states, steps=HOUR, likely_c=f(90.0))
    stir(states, minutes=30.0, step=now)
    now = live(states, steps=3 * HOUR - 1, first=now, likely_c=f(90.0))
    assert not states["redissolved"][0]

    live(states, steps=1, first=now, likely_c=f(90.0))
    assert states["redissolved"][0]


def test_agitation_too_short_redissolves_nothing():
    states = seen()
    now = live(states, steps=HOUR, likely_c=f(95.0))
    stir(states, minutes=25.0, step=now)
    live(states, steps=100 * HOUR, first=now, likely_c=f(95.0))

    assert not states["redissolved"][0]


def test_only_the_agitation_within_the_warm_hours_counts():
    states = seen()
    stir(states, minutes=40.0, step=0)
    now = live(states, steps=3, likely_c=f(85.0))
    live(states, steps=10 * HOUR, first=now, likely_c=f(92.0))
    # 25 of the 40 minutes were left when it came to 90 °F
    assert states["warm_agitated_min"][0] == 25.0
    assert not states["redissolved"][0]


def test_under_90_f_of_the_low_bottom_the_four_hours_start_anew():
    states = seen()
    stir(states, minutes=60.0, step=0)
    now = live(states, steps=4 * HOUR - 1, likely_c=f(92.0))
    now = live(states, steps=1, first=now, likely_c=f(92.0), low_c=f(89.9))
    assert (states["warm_steps"][0], states["warm_agitated_min"][0]) == (0, 0.0)

    live(states, steps=4 * HOUR, first=now, likely_c=f(92.0))
    assert not states["redissolved"][0]


def redissolved():
    """A drum in which solids were seen, and then dissolved; and the step it has come to."""
    states = seen()
    stir(states, minutes=60.0, step=0)
    return states, live(states, steps=5 * HOUR, likely_c=f(95.0))


def test_the_clear_look_may_come_when_it_has_cooled_again():
    states, now = redissolved()
    live(states, steps=20 * HOUR, first=now, likely_c=f(70.0))

    see_none(states, low_c=f(69.0), seed_c=ISO.limits.seed_c)

    assert states["solids"][0] == Solids.NONE
    assert not states["redissolved"][0]


@pytest.mark.parametrize("how", [{"likely_c": f(49.9)}, {"likely_c": f(52.0), "low_c": f(40.9)}])
def test_cold_after_the_heat_undoes_it(how):
    states, now = redissolved()
    now = live(states, steps=1, first=now, **how)
    live(states, steps=HOUR, first=now, likely_c=f(70.0))

    see_none(states, low_c=f(69.0), seed_c=ISO.limits.seed_c)

    assert states["solids"][0] == Solids.SEEN


def test_solids_seen_after_the_heat_were_not_dissolved_by_it():
    states, now = redissolved()
    see_solids(states)
    live(states, steps=4 * HOUR, first=now, likely_c=f(95.0))

    see_none(states, low_c=f(94.0), seed_c=ISO.limits.seed_c)

    assert states["solids"][0] == Solids.SEEN


def test_a_clear_look_without_heat_and_agitation_does_not_clear_what_was_seen():
    states = seen()
    live(states, steps=100 * HOUR, likely_c=f(95.0))

    see_none(states, low_c=f(94.0), seed_c=ISO.limits.seed_c)

    assert states["solids"][0] == Solids.SEEN


# Liquid from another drum


def remembering(**fields):
    states = one_drum()
    for name, value in fields.items():
        states[name] = value
    return states


def test_of_two_memories_poured_together_the_worse_counts_in_everything():
    good = remembering(cold_steps=3, coldest_c=8.0, warm_steps=60, warm_agitated_min=40.0)
    bad = remembering(
        cold_steps=7, cold_total_steps=30, degree_hours=4.0, coldest_c=5.0, solids=Solids.SUSPECTED
    )
    for states, other in ((good.copy(), bad), (bad.copy(), good)):
        take_colder(states, other=other)
        found = states[0]
        assert (found["cold_steps"], found["cold_total_steps"], found["coldest_c"]) == (7, 30, 5.0)
        assert (found["degree_hours"], found["solids"]) == (4.0, Solids.SUSPECTED)
        assert (found["warm_steps"], found["warm_agitated_min"]) == (0, 0.0)


@pytest.mark.parametrize(
    ("own", "other", "after"),
    [(True, None, True), (None, True, True), (True, False, False), (False, None, False)],
)
def test_solids_seen_count_as_dissolved_only_where_all_of_them_were(own, other, after):
    def drum(dissolved):
        if dissolved is None:
            return one_drum()
        return remembering(solids=Solids.SEEN, redissolved=dissolved)

    states = drum(own)
    take_colder(states, other=drum(other))

    assert states["solids"][0] == Solids.SEEN
    assert bool(states["redissolved"][0]) is after


# Limits with their dead bands of 1 °F


@pytest.mark.parametrize(
    ("name", "product", "beyond", "inside", "past"),
    [
        ("seed_since", ISO, {"likely_c": f(55.0), "low_c": f(49.9)}, f(50.9), f(51.1)),
        ("below_since", RESIN, {"likely_c": f(49.9)}, f(50.9), f(51.1)),
        ("above_since", ISO, {"likely_c": f(60.0), "mean_c": f(75.1)}, f(74.1), f(73.9)),
        ("gas_since", RESIN, {"likely_c": f(60.0), "mean_c": f(75.1)}, f(74.1), f(73.9)),
    ],
)
def test_a_limit_once_passed_is_left_only_past_the_dead_band(name, product, beyond, inside, past):
    states = one_drum()
    now = live(states, steps=3, first=100, product=product, **beyond)
    assert states[name][0] == 100

    for temperature in (inside, next(reversed(beyond.values()))):
        now = live(states, steps=5, first=now, product=product, likely_c=temperature)
        assert states[name][0] == 100
    live(states, steps=1, first=now, product=product, likely_c=past)
    assert states[name][0] == NEVER


def test_a_limit_is_not_passed_by_being_reached():
    states = one_drum()
    live(states, steps=3, likely_c=f(50.0), mean_c=f(75.0))

    assert [states[n][0] for n in ("seed_since", "below_since", "above_since")] == [NEVER] * 3


def test_iso_never_gasses():
    states = one_drum()
    live(states, steps=3, likely_c=f(80.0))

    assert states["gas_since"][0] == NEVER


def test_a_products_own_limits_are_the_ones_that_count():
    picky = replace(ISO, limits=replace(ISO.limits, seed_c=15.0, deep_seed_c=12.0))
    states = one_drum()
    live(states, steps=2 * HOUR, likely_c=14.0, product=picky)

    assert states["solids"][0] == Solids.SUSPECTED
