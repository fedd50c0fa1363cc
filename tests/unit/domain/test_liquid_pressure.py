"""Computed pressure through a drum's past; levels are our choice (practical, not published)."""

import numpy as np
import pytest

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.liquid_pressure import (
    gauge_kpa,
    gauge_span_kpa,
    hot_gauge_kpa,
    pressure_inputs,
)
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


def span(states, *, product=RESIN, c=(20.0, 20.0, 20.0)):
    low, mean, high = (np.array([v]) for v in c)
    found = gauge_span_kpa(
        states,
        mean_low_c=low,
        mean_c=mean,
        mean_high_c=high,
        inputs=pressure_inputs([product]),
        site_kpa=np.array([101.325]),
    )
    return tuple(float(values[0]) for values in found)


def stating(**properties):
    return with_overrides(RESIN, properties=properties, limits={}, origins={})


def test_the_band_of_pressure_holds_the_likely_one_and_grows_with_that_of_the_temperature():
    states = sealed()
    likely = gauge(states, mean_c=30.0)
    narrow, wide = span(states, c=(30.0, 30.0, 30.0)), span(states, c=(27.0, 30.0, 33.0))

    assert wide[0] < narrow[0] <= likely <= narrow[1] < wide[1]


def test_the_band_spans_the_activity_of_an_agent_that_is_not_stated():
    # By hand at 30 °C, γ 0.5 and 1.2 in the formula of one.
    states = sealed()
    weak, strong = stating(agent_activity=0.5), stating(agent_activity=1.2)

    assert span(states, c=(30.0, 30.0, 30.0)) == pytest.approx(
        (gauge(states, product=weak, mean_c=30.0), gauge(states, product=strong, mean_c=30.0))
    )


def test_an_activity_that_is_stated_is_no_longer_in_doubt():
    states, product = sealed(), stating(agent_activity=1.0)
    low, high = span(states, product=product, c=(30.0, 30.0, 30.0))

    assert low == pytest.approx(high)
    assert low == pytest.approx(gauge(states, product=product, mean_c=30.0))


def test_an_open_drum_has_no_band_either():
    assert span(sealed(event("opened", SOON)), c=(10.0, 20.0, 40.0)) == (0.0, 0.0)


def hot(states, *, product=RESIN, mean_c=20.0):
    inputs, mean = pressure_inputs([product]), np.array([mean_c])
    site = np.array([101.325])
    return float(hot_gauge_kpa(states, mean_c=mean, inputs=inputs, site_kpa=site)[0])


def test_at_55_c_a_sealed_drum_has_what_it_would_have_there():
    assert hot(sealed()) == pytest.approx(gauge(sealed(), mean_c=55.0))


def test_at_55_c_an_open_drum_counts_as_closed_now():
    opened, closed = sealed(event("opened", SOON)), sealed(event("resealed", SOON))

    assert hot(opened) == pytest.approx(hot(closed))


def test_a_drum_that_liquid_fills_by_55_c_has_no_bound():
    # 216.5 L × 1150 kg/m³ / (1 + 35 × 8e-4) = 242.2 kg
    def filled(net_kg):
        return state_after(
            [received(liquid_c=20.0, net_kg=net_kg)], hours=0.0, places=20.0, product=RESIN
        )

    assert np.isfinite(hot(filled(242.0)))
    assert hot(filled(242.4)) == np.inf


def test_a_drum_taken_up_a_mountain_has_the_air_shut_in_below():
    # ICAO standard atmosphere: 101.325 kPa at the sea, 79.495 at 2,000 m
    states = sealed()
    found = gauge_kpa(
        states,
        mean_c=np.array([20.0]),
        inputs=pressure_inputs([RESIN]),
        site_kpa=np.array([79.495]),
    )

    assert found[0] == pytest.approx(101.325 - 79.495)


def test_a_drum_that_was_weighed_lighter_pulls_no_vacuum_for_it():
    assert gauge(sealed(event("weighed", SOON, net_kg=60.0))) == pytest.approx(0.0, abs=1e-9)
    assert gauge(sealed(event("weighed", SOON, net_kg=60.0)), mean_c=35.0) > 0.0


@pytest.mark.parametrize(
    ("kind", "more"), [("decanted", {"to": "M2T-9RA"}), ("topped", {"from": "M2T-9RA"})]
)
def test_a_drum_that_was_poured_from_or_into_is_sealed_as_it_is_then(kind, more):
    warm = state_after(
        [received(liquid_c=20.0), event(kind, 48.0, kg=5.0, **more)],
        hours=48.0,
        places=32.0,
        product=RESIN,
    )

    assert warm["seal_c"][0] == pytest.approx(likely_mean(warm)[0])
    assert gauge(warm) == pytest.approx(0.0, abs=1e-9)


def test_a_blanket_is_sealed_in_when_its_regulator_is_taken_off():
    blanket = event("blanketed", SOON, gas="nitrogen", kpa=14.0, regulator=True)
    shut = sealed(blanket, event("resealed", 2.0 * SOON))

    assert shut["sealed"][0]
    assert gauge(shut) == pytest.approx(14.0)


def test_venting_under_a_regulator_leaves_it_at_the_regulators_pressure():
    blanket = event("blanketed", SOON, gas="nitrogen", kpa=14.0, regulator=True)

    assert gauge(sealed(blanket, event("vented", 2.0 * SOON))) == 14.0


def test_a_data_sheets_densities_hold_instead_of_one_expansion():
    flat = with_overrides(
        ISO,
        properties={"density_points": [[20.0, 1230.0], [55.0, 1230.0 / 1.0035]]},
        limits={},
        origins={},
    )
    states = sealed(product=flat)

    # 1e-4 per K: 203.252 L become 203.658 at 40 °C, the gas 13.248 L 12.842, and so the pressure
    # 101.325 × 1.03166 × 313.15/293.15 = 111.66 kPa absolute
    assert gauge(states, product=flat, mean_c=40.0) == pytest.approx(10.34, abs=0.02)
