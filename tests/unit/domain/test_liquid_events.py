"""What each kind of event does to the liquid of one drum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.liquid_events import Moment, apply_event
from drumkeep.domain.liquid_state import (
    NEVER,
    LiquidStates,
    Solids,
    band_at,
    empty_states,
)
from drumkeep.domain.products import Side, default_product
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.stratified import LAYERS, eighths
from tests.builders.past import HALL, VAN, event, step

ISO, RESIN = default_product(Side.ISO), default_product(Side.RESIN)
STACK = np.array([4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0])
NOW = 2.0  # hours


def drum(stack=STACK, *, slow=-1.0, fast=1.0, net_kg=250.0) -> LiquidStates:
    """A drum with this likely stack, slow and fast so much beside it."""
    states = empty_states(1)
    states["alive"] = states["resolved"] = True
    states["mass_kg"] = net_kg
    states["place"] = HALL
    states["layers"][0] = np.repeat(stack, LAYERS // len(stack)) + np.array([[slow], [0.0], [fast]])
    states["doubt_k"] = fast - slow
    return states


def happen(states: LiquidStates, kind: str, *, product=ISO, air_c=10.0, **data) -> LiquidStates:
    apply_event(
        states,
        event=event(kind, NOW, **data),
        product=product,
        moment=Moment(
            step=step(NOW),
            air_c=air_c,
            sensor_error_k=0.0,
            start_air=None,
            find_place=lambda found: int(found["to"] if "to" in found else found["place"]),
        ),
    )
    return states


def band(states, hours=NOW):
    return band_at(states, step=step(hours), sensor_error_k=0.0, drive_k=np.zeros(1))


def width(states, hours=NOW):
    found = band(states, hours)
    return float(found.high[0] - found.low[0])


def heat(states):
    """Mass times mean of each set: heat over the specific heat, kg K."""
    return float(states["mass_kg"][0]) * states["layers"][0].mean(axis=-1)


# Mass


def test_decanting_from_the_bottom_keeps_the_heat_of_what_stays():
    # Half of it drawn from the bottom: the four upper layers stay, each now two.
    after = happen(drum(), "decanted", kg=125.0, to="other")

    assert after["mass_kg"][0] == 125.0
    assert eighths(after["layers"][0, LIKELY]) == pytest.approx(
        [8.0, 8.0, 9.0, 9.0, 10.0, 10.0, 11.0, 11.0]
    )


@given(stack=st.lists(st.floats(-20.0, 40.0), min_size=8, max_size=8), kg=st.floats(0.5, 249.0))
def test_what_is_drawn_and_what_stays_hold_the_heat_of_before(stack, kg):
    before = drum(np.sort(np.array(stack)))
    kept = drum(np.sort(np.array(stack)))
    happen(kept, "decanted", kg=kg, to="other")
    # the heat that left is that of the lowest kilograms
    edges = np.linspace(0.0, 250.0, 9)
    sums = np.concatenate([[0.0], np.cumsum(np.sort(stack))]) * 250.0 / 8.0
    gone = float(np.interp(kg, edges, sums))

    assert heat(kept)[LIKELY] + gone == pytest.approx(heat(before)[LIKELY], abs=1e-6)
    assert (np.diff(kept["layers"][0, LIKELY]) >= -1e-9).all()


def test_weighing_less_is_drawing_from_the_bottom():
    weighed = happen(drum(), "weighed", net_kg=125.0)
    decanted = happen(drum(), "decanted", kg=125.0, to="other")

    assert (weighed["layers"] == decanted["layers"]).all()


def test_weighing_more_corrects_the_mass_and_leaves_the_temperatures():
    after = happen(drum(), "weighed", net_kg=255.0)

    assert after["mass_kg"][0] == 255.0
    assert eighths(after["layers"][0, LIKELY]) == pytest.approx(STACK)


def test_weighing_nothing_leaves_nothing():
    after = happen(drum(), "weighed", net_kg=0.0)

    assert after["mass_kg"][0] == 0.0
    assert np.isfinite(after["layers"]).all()


def test_topping_up_leaves_doubt_about_what_came_in():
    little, much = (happen(drum(), "topped", kg=kg, **{"from": "other"}) for kg in (5.0, 100.0))

    assert little["mass_kg"][0] == 255.0
    assert drum()["doubt_k"][0] < little["doubt_k"][0] < much["doubt_k"][0]


# Agitation, moving, heating


def test_agitation_evens_out_and_keeps_the_mean():
    after = happen(drum(), "agitated", minutes=15.0)

    assert eighths(after["layers"][0, LIKELY]) == pytest.approx([7.5] * 8)
    assert heat(after) == pytest.approx(heat(drum()))
    assert after["agitated_step"][0] == step(NOW)


def test_a_move_changes_the_place_and_nothing_of_the_liquid():
    after = happen(drum(), "moved", to=VAN)

    assert after["place"][0] == VAN
    assert (after["layers"] == drum()["layers"]).all()


def test_a_heater_runs_until_it_is_said_to_end():
    after = happen(drum(), "heated", device="band", watts=1000.0, until="2026-01-10T06:00:00+00:00")

    assert after["heat_w"][0] == 1000.0
    assert after["heat_until"][0] == step(6.0)


# Looks


def test_solids_suspected_are_cleared_by_a_look_that_reached_a_warm_bottom():
    states = drum(STACK + 10.0)
    states["solids"], states["cold_steps"], states["deep_steps"] = Solids.SUSPECTED, 30, 4
    happen(states, "inspected", reached_bottom=True, solids="none")

    assert states["solids"][0] == Solids.NONE
    assert (states["cold_steps"][0], states["deep_steps"][0]) == (0, 0)


def test_a_look_clears_only_if_the_whole_band_is_at_50_f_or_over():
    # common practice, no source: what is seen clear while cold may seed the hour after
    below = 10.0 - float(band(drum()).low[0])
    warm, cold = drum(STACK + below + 0.01), drum(STACK + below - 0.01)
    for states in (warm, cold):
        states["solids"] = Solids.SUSPECTED
        happen(states, "inspected", reached_bottom=True, solids="none")

    assert band(warm).low[0] == pytest.approx(10.01)
    assert warm["solids"][0] == Solids.NONE
    assert cold["solids"][0] == Solids.SUSPECTED


@pytest.mark.parametrize(
    "look",
    [
        {"reached_bottom": False, "solids": "none"},
        {"solids": "none"},
        {"reached_bottom": True},
        {"reached_bottom": True, "skin": True},
    ],
)
def test_a_look_that_did_not_reach_the_bottom_or_say_clears_nothing(look):
    states = drum(STACK + 20.0)
    states["solids"] = Solids.SUSPECTED
    happen(states, "inspected", **look)

    assert states["solids"][0] == Solids.SUSPECTED


@pytest.mark.parametrize("reached_bottom", [True, False])
def test_solids_seen_anywhere_are_remembered_as_seen(reached_bottom):
    states = happen(drum(STACK + 20.0), "inspected", reached_bottom=reached_bottom, solids="seen")

    assert states["solids"][0] == Solids.SEEN


def test_solids_seen_are_not_cleared_by_a_look_in_the_warm():
    states = drum(STACK + 30.0)
    states["solids"] = Solids.SEEN
    happen(states, "inspected", reached_bottom=True, solids="none")

    assert states["solids"][0] == Solids.SEEN


def test_solids_seen_are_cleared_by_a_look_after_they_were_redissolved():
    # common practice, no source: 4 h at 90 °F with 30 min of agitation, then a clear look
    states = drum(STACK + 30.0)
    states["solids"], states["redissolved"] = Solids.SEEN, True
    happen(states, "inspected", reached_bottom=True, solids="none")

    assert states["solids"][0] == Solids.NONE


def test_agitation_lasts_for_its_minutes():
    states = happen(drum(), "agitated", minutes=30.0)
    assert states["agitated_until"][0] == step(NOW) + 6

    happen(states, "agitated", minutes=4.0)
    assert states["agitated_until"][0] == step(NOW) + 6


def test_a_bulge_is_remembered_until_released():
    states = happen(drum(), "inspected", bulge="seen")
    happen(states, "inspected", bulge="none")
    assert states["bulged"][0]

    happen(states, "released", reason="relieved under dry gas")
    assert not states["bulged"][0]


def test_nobody_looks_for_seeds_in_resin():
    states = happen(drum(), "inspected", product=RESIN, reached_bottom=True, solids="seen")

    assert states["solids"][0] == Solids.NONE


# Seal


def test_a_received_drum_counts_as_sealed_at_20_c_at_its_received_fill():
    states = happen(empty_states(1), "received", place=HALL, net_kg=250.0, liquid_c=5.0)

    assert states["sealed"][0]
    assert states["seal_c"][0] == 20.0
    # by hand: 216.5 L less 250/1230 m³
    assert states["seal_headspace_m3"][0] == pytest.approx(0.2165 - 250.0 / 1230.0)


@pytest.mark.parametrize("kind", ["resealed", "vented"])
def test_closing_a_drum_seals_in_what_it_is_then(kind):
    states = happen(happen(drum(), "opened"), kind)

    assert states["sealed"][0]
    assert states["seal_c"][0] == pytest.approx(7.5)
    assert states["seal_blanket_kpa"][0] == 0.0


def test_a_blanket_is_sealed_in_unless_it_stays_on_its_regulator():
    shut = happen(drum(), "blanketed", gas="nitrogen", kpa=14.0)
    held = happen(drum(), "blanketed", gas="nitrogen", kpa=14.0, regulator=True)

    assert (shut["sealed"][0], shut["seal_blanket_kpa"][0]) == (True, 14.0)
    assert np.isnan(shut["regulated_kpa"][0])
    assert (held["sealed"][0], held["regulated_kpa"][0]) == (False, 14.0)


# Beginning and end


def test_nothing_happens_to_a_drum_that_is_not_there():
    states = empty_states(1)
    for kind, data in (
        ("moved", {"to": VAN}),
        ("agitated", {"minutes": 5.0}),
        ("opened", {}),
    ):
        happen(states, kind, **data)

    assert not states["alive"][0]
    assert states["place"][0] == NEVER
    assert np.isnan(states["layers"]).all()


@pytest.mark.parametrize(("kind", "left_kg"), [("emptied", 0.0), ("disposed", 250.0)])
def test_a_drum_gone_has_no_standing_limits_passed(kind, left_kg):
    states = drum()
    states["seed_since"] = states["below_since"] = 5
    happen(states, kind)

    assert not states["alive"][0]
    assert states["mass_kg"][0] == left_kg
    assert (states["seed_since"][0], states["below_since"][0]) == (NEVER, NEVER)


def test_a_receipt_measured_keeps_half_a_kelvin_of_doubt_either_way():
    states = happen(empty_states(1), "received", place=HALL, liquid_c=21.0)
    layers = states["layers"][0, :, 0]

    assert [layers[SLOW], layers[LIKELY], layers[FAST]] == [20.5, 21.0, 21.5]
    assert states["mass_kg"][0] == 250.0  # the product's usual fill
