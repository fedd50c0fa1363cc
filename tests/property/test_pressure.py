"""Pressure of a sealed drum, for any product, fill, sealing and warmth."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.liquid_pressure import gauge_kpa, gauge_span_kpa, pressure_inputs
from drumkeep.domain.liquid_state import empty_states
from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.vapour import AGENTS

RESIN = default_product(Side.RESIN)

products = st.builds(
    lambda side, agent, fraction: (
        default_product(Side.ISO)
        if side is Side.ISO
        else with_overrides(
            RESIN,
            properties={"agent": agent, "agent_mass_fraction": fraction},
            limits={},
            origins={},
        )
    ),
    st.sampled_from(Side),
    st.sampled_from(sorted(AGENTS)),
    st.floats(min_value=0.0, max_value=0.3),
)
fills = st.floats(min_value=10.0, max_value=235.0)
warmth = st.floats(min_value=-20.0, max_value=60.0)


def sealed(product, *, net_kg, seal_c):
    states = empty_states(1)
    states["sealed"], states["mass_kg"] = True, net_kg
    states["seal_c"], states["seal_saturation"] = seal_c, 1.0
    states["seal_headspace_m3"] = pressure_inputs([product]).headspace_m3(
        states["mass_kg"], temperature_c=states["seal_c"]
    )
    return states


def gauge(states, product, *, c, site_kpa=101.325):
    return float(
        gauge_kpa(
            states,
            mean_c=np.array([c]),
            inputs=pressure_inputs([product]),
            site_kpa=np.array([site_kpa]),
        )[0]
    )


@given(product=products, net_kg=fills, seal_c=warmth)
def test_a_drum_as_warm_as_it_was_sealed_is_at_the_pressure_of_the_air(product, net_kg, seal_c):
    assert abs(gauge(sealed(product, net_kg=net_kg, seal_c=seal_c), product, c=seal_c)) < 1e-9


@given(product=products, net_kg=fills, seal_c=st.floats(0.0, 30.0), pair=st.tuples(warmth, warmth))
def test_a_warmer_drum_has_more_pressure(product, net_kg, seal_c, pair):
    states = sealed(product, net_kg=net_kg, seal_c=seal_c)
    cold, warm = (gauge(states, product, c=c) for c in sorted(pair))

    assert warm >= cold - 1e-9


@given(product=products, net_kg=fills, seal_c=st.floats(0.0, 30.0), c=warmth, off=st.floats(0, 8))
def test_the_band_holds_the_likely_pressure_and_what_both_its_ends_give(
    product, net_kg, seal_c, c, off
):
    states = sealed(product, net_kg=net_kg, seal_c=seal_c)
    low, high = gauge_span_kpa(
        states,
        mean_low_c=np.array([c - off]),
        mean_c=np.array([c]),
        mean_high_c=np.array([c + off]),
        inputs=pressure_inputs([product]),
        site_kpa=np.array([101.325]),
    )

    for at in (c - off, c, c + off):
        assert low[0] - 1e-9 <= gauge(states, product, c=at) <= high[0] + 1e-9


@given(product=products, net_kg=fills, c=warmth, site_kpa=st.floats(60.0, 101.0))
def test_no_drum_pulls_more_than_all_the_air_outside(product, net_kg, c, site_kpa):
    states = sealed(product, net_kg=net_kg, seal_c=20.0)
    states["seal_site_kpa"] = 101.325

    assert gauge(states, product, c=c, site_kpa=site_kpa) > -site_kpa
