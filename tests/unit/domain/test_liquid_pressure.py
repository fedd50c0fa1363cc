"""Computed pressure through a drum's past; levels are our choice (practical, not published)."""

import numpy as np
import pytest

from drumkeep.domain.liquid_pressure import gauge_kpa, pressure_inputs
from drumkeep.domain.liquid_state import likely_mean
from tests.builders.past import HALL, ISO, RESIN, advanced, event, place, received, state_after


SOON = 0.02
"""Hours after its receipt, within the same step."""


def gauge(states, *, product=RESIN, mean_c=None):
    mean = likely_mean(states) if mean_c is None else np.array([mean_c])
    inputs = pressure_inputs([product])
    return float(gauge_kpa(states, mean_c=mean, inputs=inputs, site_kpa=np.array([101.325]))[0])


def sealed(*events, product=RESIN):
    return state_after([received(liquid_c=20.0), *events], hours=0.0, places=20.0, product=product)


def test_a_drum_as_warm_as_it_was_sealed_has_no_pressure():
    assert gauge(sealed()) == pytest.approx(0.0, abs=1e-9)


def test_pressure_rises_with_warmth_and_falls_below_air_with_cold():
    states = sealed()
    found = [gauge(states, mean_c=c) for c in (-10.0, 5.0, 20.0, 30.0, 40.0)]

    assert found == sorted(found)
    assert found[0] < -10.0
    assert found[-1] > 30.0


def test_resin_builds_more_than_its_own_expansion_because_of_its_agent():
    inert = pressure_inputs([ISO])
    assert inert.share[0] == 0.0
    assert pressure_inputs([RESIN]).share[0] > 0.0

    with_agent, without = sealed(), sealed()
    assert gauge(with_agent, mean_c=40.0) > gauge(without, product=ISO, mean_c=40.0)


def test_iso_builds_pressure_too_by_expanding():
    assert gauge(sealed(product=ISO), product=ISO, mean_c=40.0) > 15.0


def test_an_open_drum_has_none():
    assert gauge(sealed(event("opened", SOON)), mean_c=40.0) == 0.0


def test_a_vented_drum_begins_again_at_what_it_is():
    hot = state_after(
        [received(liquid_c=20.0), event("vented", 30.0)], hours=30.0, places=35.0, product=RESIN
    )

    assert gauge(hot) == pytest.approx(0.0, abs=1e-9)


def test_a_blanket_adds_its_pressure_when_it_is_sealed_in():
    assert gauge(sealed(event("blanketed", SOON, gas="nitrogen", kpa=14.0))) == pytest.approx(14.0)


def test_a_blanket_on_its_regulator_holds_its_pressure_in_warmth_and_cold():
    held = sealed(event("blanketed", SOON, gas="nitrogen", kpa=14.0, regulator=True))

    assert [gauge(held, mean_c=c) for c in (0.0, 20.0, 40.0)] == [14.0] * 3


def test_a_full_resin_drum_in_a_hot_yard_is_over_pressure_and_stays_so_until_it_has_cooled():
    days = {HALL: place(lambda h: np.where(h < 48.0, 48.0, 15.0), hours=120.0, motion="moving")}
    full = received(liquid_c=20.0, net_kg=235.0)
    course = advanced([full], hours=120.0, places=days, product=RESIN)
    flags = [bool(c.states["overpressure"][0]) for c in course.checkpoints]
    gauges = [gauge(c.states) for c in course.checkpoints]
    on, off = flags.index(True), len(flags) - flags[::-1].index(True)

    assert gauges[on - 2] <= 50.0
    assert gauges[on] > 49.0
    assert all(flags[on:off])
    assert gauges[off - 2] > 45.0
    assert gauges[off] <= 46.0


def test_a_drum_of_unknown_temperature_has_no_pressure_to_tell():
    states = state_after([received()], hours=5.0, places=20.0, product=RESIN)

    assert np.isnan(gauge(states))
