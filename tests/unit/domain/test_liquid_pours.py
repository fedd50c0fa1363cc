"""Liquid poured from one drum into another, and what it brings along."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.liquid_pours import draw, pour_in, without_bottom
from drumkeep.domain.liquid_state import Solids, empty_states
from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.stratified import LAYERS
from tests.builders.past import HALL

ISO, RESIN = default_product(Side.ISO), default_product(Side.RESIN)
STACK = np.repeat([4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0], LAYERS // 8)
temperatures = (
    st.lists(st.floats(-20.0, 50.0), min_size=LAYERS, max_size=LAYERS).map(sorted).map(np.array)
)
masses = st.floats(1.0, 120.0)


def drum(stack=STACK, *, net_kg=120.0, either_way=1.0, **fields):
    states = empty_states(1)
    states["alive"] = states["resolved"] = True
    states["mass_kg"], states["place"] = net_kg, HALL
    states["layers"][0] = stack + np.array([[-either_way], [0.0], [either_way]])
    states["doubt_k"] = 2.0 * either_way
    for name, value in fields.items():
        states[name] = value
    return states


def poured(own, donor, *, kg, product=RESIN, of=RESIN, lots=(1, 1)):
    after = own.copy()
    parcel = draw(donor, kg=kg, product=of, lot=lots[1])
    pour_in(after, parcel=parcel, product=product, lot=lots[0])
    return after


def heat(states):
    """Mass times mean of each set: heat over the specific heat, kg K."""
    return float(states["mass_kg"][0]) * states["layers"][0].mean(axis=-1)


# Heat


def test_what_is_drawn_is_the_bottom():
    # an eighth and a half of the lowest layers, by hand: (4 + 5/2)/1.5
    parcel = draw(drum(net_kg=80.0), kg=15.0, product=RESIN, lot=1)

    assert parcel.set_c[LIKELY] == pytest.approx(6.5 / 1.5)
    assert parcel.set_c[FAST] - parcel.set_c[SLOW] == pytest.approx(2.0)


@given(own=temperatures, other=temperatures, own_kg=masses, other_kg=masses, share=st.floats(0, 1))
def test_no_heat_and_no_mass_is_made_or_lost_between_two_drums(own, other, own_kg, other_kg, share):
    receiver, donor = drum(own, net_kg=own_kg), drum(other, net_kg=other_kg)
    kg = max(share * other_kg, 0.01)
    before = heat(receiver) + heat(donor)
    after = poured(receiver, donor, kg=kg)
    left = donor.copy()
    left["mass_kg"] = other_kg - kg
    if left["mass_kg"][0] > 1e-6 * other_kg:
        for lane in left["layers"][0]:
            lane[:] = without_bottom(lane, kg / other_kg)

    assert after["mass_kg"][0] + left["mass_kg"][0] == pytest.approx(own_kg + other_kg)
    assert heat(after) + heat(left) == pytest.approx(before, abs=1e-3)


@given(own=temperatures, other=temperatures, kg=masses)
def test_nothing_gets_colder_or_warmer_than_both_drums_were_and_the_bottom_stays_coldest(
    own, other, kg
):
    after = poured(drum(own), drum(other, net_kg=120.0), kg=kg)["layers"][0, LIKELY]

    assert after.min() >= min(own.min(), other.min()) - 1e-9
    assert after.max() <= max(own.max(), other.max()) + 1e-9
    assert (np.diff(after) >= -1e-9).all()


def test_warmer_liquid_stays_on_top():
    after = poured(drum(np.full(LAYERS, 10.0), net_kg=60.0), drum(np.full(LAYERS, 30.0)), kg=60.0)

    assert after["layers"][0, LIKELY] == pytest.approx(
        [10.0] * (LAYERS // 2) + [30.0] * (LAYERS // 2)
    )


def test_colder_liquid_mixes_with_what_it_sinks_through():
    after = poured(drum(np.full(LAYERS, 30.0), net_kg=60.0), drum(np.full(LAYERS, 10.0)), kg=60.0)

    assert after["layers"][0, LIKELY] == pytest.approx([20.0] * LAYERS)


def test_an_empty_drum_takes_the_liquid_as_it_is():
    after = poured(drum(np.full(LAYERS, 30.0), net_kg=0.0), drum(np.full(LAYERS, 10.0)), kg=60.0)

    assert after["layers"][0, LIKELY] == pytest.approx([10.0] * LAYERS)
    assert after["mass_kg"][0] == 60.0


# Doubt


def test_doubt_goes_by_mass():
    after = poured(drum(net_kg=90.0, either_way=0.5), drum(either_way=2.5), kg=30.0)

    assert after["doubt_k"][0] == pytest.approx(0.75 * 1.0 + 0.25 * 5.0)


def test_liquid_not_known_well_makes_the_whole_not_known_if_it_is_much():
    unsure = drum(either_way=6.0, resolved=False)
    little, much = (poured(drum(either_way=0.2), unsure, kg=kg) for kg in (5.0, 100.0))

    assert little["resolved"][0]
    assert not much["resolved"][0]


def test_what_was_measured_in_the_drum_says_nothing_of_what_came_in():
    after = poured(drum(net_kg=60.0, kept=0.2), drum(), kg=60.0)

    assert after["kept"][0] == pytest.approx([0.6] * LAYERS)


# Memory, age, agent


def test_solids_seen_go_along_into_the_cleanest_drum():
    after = poured(drum(), drum(solids=Solids.SEEN, coldest_c=2.0), kg=1.0, product=ISO, of=ISO)

    assert after["solids"][0] == Solids.SEEN
    assert after["coldest_c"][0] == 2.0


def test_dates_of_the_older_liquid_count():
    young, old = (
        {"made_step": 1000, "expires_step": 9000},
        {"made_step": 500, "expires_step": 8000},
    )
    after = poured(drum(**young), drum(**old), kg=1.0)

    assert (after["made_step"][0], after["expires_step"][0]) == (500, 8000)


def test_two_lots_in_one_drum_are_remembered():
    assert not poured(drum(), drum(), kg=5.0)["mixed_lots"][0]
    assert poured(drum(), drum(), kg=5.0, lots=(1, 2))["mixed_lots"][0]
    assert poured(drum(), drum(mixed_lots=True), kg=5.0)["mixed_lots"][0]


def test_agent_goes_by_mass():
    # by hand: 90 kg that lost 2 % and 30 kg that lost 10 %, of one product: 4 %
    after = poured(
        drum(net_kg=90.0, agent_lost=[[0.0, 0.02, 0.1]]),
        drum(agent_lost=[[0.0, 0.1, 0.3]]),
        kg=30.0,
    )

    assert after["agent_lost"][0] == pytest.approx([0.0, 0.04, 0.15])


def test_liquid_poorer_in_agent_thins_it():
    poor = replace(RESIN, properties=replace(RESIN.properties, agent_mass_fraction=0.04))
    after = poured(drum(net_kg=60.0), drum(), kg=60.0, of=poor)

    assert after["agent_lost"][0] == pytest.approx([0.25] * 3)
