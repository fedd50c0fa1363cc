"""Colder air never warms a drum, warmer air never cools it: in any drum, from any start.

The core of the model is a stream that begins, ends and passes layers; where it passes less of them,
a bottom may for a while stand a little otherwise than order would have it. How little is held here.
"""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from drumkeep.thermal.march import march
from drumkeep.thermal.stratified import EIGHTHS, LAYERS
from tests.builders.liquid import liquid

HOURS = 24
STEPS = HOURS * 12
EVEN_K = 0.03
LAYERED_K = 0.4

drums = st.fixed_dictionaries(
    {
        "mass_kg": st.floats(65.0, 260.0),
        "viscosity_25c_pas": st.floats(0.06, 3.5),
        "viscosity_slope_k": st.sampled_from([0.0, 6254.0]),
        "side_w_m2k": st.floats(3.0, 25.0),
        "top_w_m2k": st.floats(1.5, 8.0),
        "bottom_w_m2k": st.floats(2.0, 6.0),
    }
)
temperatures = st.floats(-15.0, 35.0)
airs = st.lists(temperatures, min_size=5, max_size=5)
offsets = st.lists(st.floats(0.0, 8.0), min_size=5, max_size=5)


def marched(start, *, drum, air):
    hours = np.linspace(0.0, HOURS, len(air))
    over = np.interp(np.arange(STEPS + 1) / 12.0, hours, air)
    course = march(
        np.broadcast_to(np.repeat(start, LAYERS // EIGHTHS), (3, 1, LAYERS)),
        liquid=liquid(**drum),
        air_c=over[:, None, None],
        drive_k=np.zeros(1),
        step_s=300.0,
    )
    return course.band.bottom[:, 0], course.band.mean[:, 0]


@settings(deadline=None)
@given(drum=drums, start=temperatures, air=airs, colder=offsets)
def test_from_one_temperature_colder_air_leaves_bottom_and_mean_colder(drum, start, air, colder):
    even = np.full(EIGHTHS, start)
    bottom, mean = marched(even, drum=drum, air=np.array(air))
    chilled, chilled_mean = marched(even, drum=drum, air=np.array(air) - np.array(colder))

    assert (chilled_mean <= mean + EVEN_K).all()
    assert (chilled <= bottom + LAYERED_K).all()


@settings(deadline=None)
@given(
    drum=drums,
    start=st.lists(temperatures, min_size=EIGHTHS, max_size=EIGHTHS).map(sorted),
    air=airs,
    colder=offsets,
)
def test_from_layers_colder_air_leaves_bottom_and_mean_colder(drum, start, air, colder):
    layers = np.array(start)
    bottom, mean = marched(layers, drum=drum, air=np.array(air))
    chilled, chilled_mean = marched(layers, drum=drum, air=np.array(air) - np.array(colder))

    assert (chilled_mean <= mean + EVEN_K).all()
    assert (chilled <= bottom + LAYERED_K).all()


@settings(deadline=None)
@given(drum=drums, start=temperatures, warmer=st.floats(0.0, 20.0), air=temperatures)
def test_a_drum_that_began_warmer_stays_warmer(drum, start, warmer, air):
    cool_bottom, cool_mean = marched(np.full(EIGHTHS, start), drum=drum, air=np.full(2, air))
    warm_bottom, warm_mean = marched(
        np.full(EIGHTHS, start + warmer), drum=drum, air=np.full(2, air)
    )

    assert (warm_mean >= cool_mean - EVEN_K).all()
    assert (warm_bottom >= cool_bottom - LAYERED_K).all()
