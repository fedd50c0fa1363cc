"""What a reading in or on a drum sees of its layers."""

import numpy as np
import pytest

from drumkeep.domain.liquid_observed import Reading, height_row, observe
from drumkeep.thermal.stratified import LAYERS
from tests.builders.measured import DEPTH_M, EVEN, NOW, STACK, beside, drum
from tests.builders.past import step


@pytest.mark.parametrize(
    ("height_m", "reads"),
    [
        # 250 kg of iso stand 0.792 m high; 8 K from the bottom to the top of it
        (0.0, 4.0 + 4.0 / LAYERS),
        (0.2475, 6.5),
        (0.297, 7.0),
        (0.9, 12.0 - 4.0 / LAYERS),
        (None, 8.0),
    ],
)
def test_a_height_reads_between_the_middles_of_layers(height_m, reads):
    assert height_row(height_m, depth_m=DEPTH_M) @ STACK == pytest.approx(reads, abs=0.01)


def test_a_wall_is_part_air_and_part_liquid():
    seen = observe(
        Reading(c=0.0, sigma_k=1.0, on_wall=True),
        states=drum(EVEN),
        beside=beside(air_c=20.0, share=0.6),
    )

    assert seen.of(EVEN) == pytest.approx(0.6 * 8.0 + 0.4 * 20.0)


def test_a_wall_says_less_the_further_the_air_is_from_the_liquid():
    def sigma(air_c):
        reading = Reading(c=0.0, sigma_k=1.0, on_wall=True)
        return observe(reading, states=drum(EVEN), beside=beside(air_c=air_c)).sigma_k

    assert sigma(8.0) == pytest.approx(1.0)
    assert sigma(8.0) < sigma(-12.0) < sigma(float("nan"))


def test_a_wall_beside_a_running_heater_says_little():
    states = drum(EVEN)
    states["heat_w"], states["heat_until"] = 1000.0, step(NOW + 1.0)
    seen = observe(Reading(c=0.0, sigma_k=1.0, on_wall=True), states=states, beside=beside())

    assert seen.sigma_k > 5.0


def test_a_height_matters_where_the_liquid_is_layered():
    even = observe(Reading(c=0.0, sigma_k=0.5), states=drum(EVEN), beside=beside())
    layered = observe(Reading(c=0.0, sigma_k=0.5), states=drum(STACK), beside=beside())

    assert even.sigma_k == 0.5
    # 8 K over 0.792 m, and mid-depth known to 0.05 m: 0.505 K
    assert layered.sigma_k == pytest.approx(np.hypot(0.5, 0.505), abs=0.002)
