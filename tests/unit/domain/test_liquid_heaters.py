"""Heaters in the march: where heat enters, what the thermostat holds back, what a blanket keeps."""

from typing import Any

import numpy as np
import pytest

from drumkeep.domain.heaters import BAND_WIDTH_M, Device
from drumkeep.domain.liquid_heaters import REACHES_LIQUID, blanket_r, heat_w, layer_shares
from drumkeep.domain.liquid_state import empty_states
from drumkeep.thermal.boundary import BLANKET_R_M2K_W
from drumkeep.thermal.parameter_sets import LIKELY, NAMED_SETTING, spread_out
from drumkeep.thermal.stratified import LAYERS
from tests.builders.liquid import liquid
from tests.builders.past import advanced, at, event, place, received, step

ON, OFF = step(2.0), step(8.0)
DEPTH_M = 0.80


def states(device, *, watts=1000.0, height_m=np.nan, thermostat_c=np.nan, layers_c=10.0):
    made = empty_states(1)
    made["alive"] = True
    made["mass_kg"] = 250.0
    made["layers"][0] = layers_c
    made["heat_device"], made["heat_w"], made["heat_until"] = device, watts, OFF
    made["heat_height_m"], made["thermostat_c"] = height_m, thermostat_c
    return made


def heat(made, *, now=ON):
    drums = spread_out(liquid(steel_kg=0.0), spread=NAMED_SETTING)
    return heat_w(made, liquid=drums, step=now)


def heated(hours=2.0, *, until=8.0, **data):
    whole: dict[str, Any] = {"device": "band", "watts": 1000.0, "until": at(until).isoformat()}
    return event("heated", hours, **whole | data)


def warmed(*events, hours=8.0, air=10.0, start=10.0, net_kg=250.0):
    """Likely layers of a drum in such air after such events."""
    past = [received(liquid_c=start, net_kg=net_kg), *events]
    run = advanced(past, hours=hours, places={1: place(air, hours=hours)})
    return run.states["layers"][0, LIKELY]


def test_a_base_heater_warms_the_lowest_layer_and_a_blanket_all_of_the_side():
    base = layer_shares(states(Device.BASE), depth_m=np.array([DEPTH_M]))[0]
    blanket = layer_shares(states(Device.BLANKET), depth_m=np.array([DEPTH_M]))[0]

    assert base.tolist() == [1.0] + [0.0] * (LAYERS - 1)
    # the blanket covers 0.85 m of wall, the liquid stands 0.80 m high
    assert blanket == pytest.approx(np.full(LAYERS, DEPTH_M / 0.85 / LAYERS))


@pytest.mark.parametrize("height_m", [0.06, 0.2, 0.45, 0.74])
def test_a_band_warms_the_layers_behind_it(height_m):
    shares = layer_shares(states(Device.BAND, height_m=height_m), depth_m=np.array([DEPTH_M]))[0]
    middles = (np.arange(LAYERS) + 0.5) * DEPTH_M / LAYERS

    assert shares.sum() == pytest.approx(1.0)
    assert (shares * middles).sum() == pytest.approx(height_m, abs=0.5 * DEPTH_M / LAYERS)
    far = np.abs(middles - height_m) > 0.5 * (BAND_WIDTH_M + DEPTH_M / LAYERS)
    assert (shares[far] == 0.0).all()


def test_a_band_half_out_of_the_liquid_loses_half_its_heat():
    shares = layer_shares(states(Device.BAND, height_m=0.4), depth_m=np.array([0.4]))[0]

    assert shares.sum() == pytest.approx(0.5)


def test_a_band_of_unknown_height_sits_low_and_in_the_liquid():
    for depth in (0.8, 0.1):
        shares = layer_shares(states(Device.BAND), depth_m=np.array([depth]))[0]

        assert shares.sum() == pytest.approx(1.0)
        assert shares[LAYERS // 2 :].sum() < 0.6


def test_the_sets_get_what_reaches_the_liquid_at_least_likely_and_at_most():
    found = heat(states(Device.BASE))

    assert found.shape == (3, 1, LAYERS)
    assert found.sum(axis=-1)[:, 0] == pytest.approx(1000.0 * np.array(REACHES_LIQUID))


def test_a_heater_gives_nothing_once_it_is_off():
    assert heat(states(Device.BASE), now=OFF - 1).sum() > 0.0
    assert heat(states(Device.BASE), now=OFF).sum() == 0.0
    assert heat(states(Device.BASE, watts=0.0)).sum() == 0.0


def test_a_thermostat_lets_no_more_in_than_brings_the_liquid_above_it_to_its_set_point():
    # by hand: 250 kg of 1800 J/(kg K) and no steel, 0.1 K short in all layers: 45 kJ in 300 s
    near = heat(states(Device.BASE, watts=5000.0, thermostat_c=10.1))[LIKELY, 0]
    reached = heat(states(Device.BASE, thermostat_c=10.0))[LIKELY, 0]

    assert near.sum() == pytest.approx(250.0 * 1800.0 * 0.1 / 300.0, rel=0.02)
    assert reached.sum() == 0.0


def test_a_band_fills_only_what_is_above_it():
    # the band at mid height sees half of the liquid: half of the same room
    near = heat(states(Device.BAND, height_m=0.45, watts=5000.0, thermostat_c=10.1))[LIKELY, 0]

    assert near.sum() == pytest.approx(0.5 * 250.0 * 1800.0 * 0.1 / 300.0, rel=0.06)


def test_a_heated_drum_gains_what_was_put_in_less_what_it_lost():
    # closed form without losses: 900 W of 1000 for 6 h into 250 kg and its steel (18.1 kg, the
    # wetted 0.93 of it at 465 J/(kg K)); losses to air at the start's temperature make it less
    hot = warmed(heated(device="base"))
    gained = hot.mean() - 10.0
    most = 900.0 * 6.0 * 3600.0 / (250.0 * 1800.0 + 0.93 * 18.1 * 465.0)

    assert 0.75 * most < gained < most


def test_what_lies_below_a_band_stays_cold():
    low = warmed(heated(device="base"))
    high = warmed(heated(height_m=0.6))

    assert high[0] < 12.0
    assert high[-1] > low[-1] + 5.0
    assert np.ptp(low) < 3.0


def test_a_thermostat_holds_the_liquid_at_its_set_point():
    held = warmed(heated(0.1, until=48.0, device="base", thermostat_c=20.0), hours=48.0)
    free = warmed(heated(0.1, until=48.0, device="base"), hours=48.0)

    assert held.max() <= 20.0 + 1e-6
    assert held.mean() == pytest.approx(20.0, abs=0.5)
    assert free.mean() > 40.0


def test_a_heater_switched_off_leaves_the_drum_to_cool():
    running = warmed(heated(until=12.0, device="base"), hours=12.0)
    stopped = warmed(heated(until=7.0, device="base"), hours=12.0)

    assert stopped.mean() < running.mean() - 3.0


def test_a_second_heater_takes_the_place_of_the_first():
    weak = heated(2.0, until=8.0, device="base", watts=100.0)
    both = warmed(heated(0.5, until=8.0, device="base"), weak)

    assert both.mean() < warmed(heated(0.5, until=8.0, device="base")).mean()


def test_a_blanket_without_power_keeps_a_drum_warm():
    bare = warmed(air=-7.0, start=21.0)
    wrapped = warmed(heated(0.1, device="blanket", watts=0.0), air=-7.0, start=21.0)
    thick = warmed(
        heated(0.1, device="blanket", watts=0.0, blanket_r_m2k_w=2.0), air=-7.0, start=21.0
    )

    assert bare.mean() + 5.0 < wrapped.mean() < thick.mean() < 21.0


def test_a_blanket_is_over_the_drum_while_it_is_on():
    made = states(Device.BLANKET)
    made["heat_blanket_r"] = BLANKET_R_M2K_W

    assert blanket_r(made, step=OFF - 1)[0] == BLANKET_R_M2K_W
    assert blanket_r(made, step=OFF)[0] == 0.0
