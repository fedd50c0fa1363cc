"""A past computed anew of thinned readings lies in its band of what all readings gave."""

from dataclasses import dataclass

import numpy as np
import pytest

from drumkeep.domain.grid import step_at, to_ms
from drumkeep.domain.liquid_state import LiquidStates, band_at, likely_mean
from drumkeep.operations.ground import read_ground
from drumkeep.operations.surroundings import read_places
from drumkeep.scheduler import jobs
from drumkeep.storage import retention, rollups
from drumkeep.storage.catalogue import sensor_by_name
from drumkeep.storage.readings import hour_of
from drumkeep.thermal.band import Band
from tests.fixtures.depot import Depot, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]

HOURS = 20.0
SENT_H = HOURS + 2.0
MINUTES = np.arange(-4 * 60, SENT_H * 60.0) / 60.0


def calm(hours: np.ndarray) -> np.ndarray:
    """Air that follows the day, read to a tenth."""
    return np.round(4.0 - 6.0 * np.sin(hours / 24.0 * 2.0 * np.pi), 1)


def noisy(hours: np.ndarray) -> np.ndarray:
    """The same with half a kelvin of noise, and a door that stands open six minutes in the hour."""
    noise = np.random.default_rng(3).normal(0.0, 0.5, len(hours))
    door = np.where(np.round(hours * 60.0) % 60 < 6, -5.0, 0.0)
    return np.round(calm(hours) + noise + door, 1)


def gated(hours: np.ndarray) -> np.ndarray:
    """Air beside a door that stands open eight minutes of each quarter: 4 K colder meanwhile.

    What is read on the five-minute grid is by half a kelvin too cold, always.
    """
    return np.where(np.round(hours * 60.0) % 15 < 8, 4.0, 8.0)


@dataclass
class Case:
    """What is computed of one drum: its record, and its band."""

    state: LiquidStates
    band: Band


def computed(depot: Depot, tag: str) -> Case:
    step = step_at(at(HOURS))
    state = depot.recomputed(HOURS)[tag]
    with depot.looking() as tx:
        air = read_places(
            tx, ground=read_ground(tx), place_ids=[depot.places["van"]], first=step - 1, last=step
        )[depot.places["van"]].air
    mean = likely_mean(state)
    band = band_at(
        state,
        step=step,
        sensor_error_k=air.error_at(step),
        drive_k=np.abs(air.likely[-1] - mean),
    )
    return Case(state, band)


def thin(depot: Depot, *, last_h: float) -> int:
    jobs.roll_up(depot.engine, at(HOURS + 24.0))
    gone = 0
    with depot.writing() as tx:
        for hour in range(hour_of(to_ms(at(-4.0))), hour_of(to_ms(at(last_h)))):
            gone += retention.thin(tx, hour=hour, may=lambda _sensor: True)
    return gone


@pytest.mark.parametrize(
    ("air", "liquid_c"), [(calm, 24.0), (noisy, 24.0), (noisy, -4.0), (gated, 24.0)]
)
def test_recomputed_of_thinned_readings_it_is_within_its_band_of_what_it_was(depot, air, liquid_c):
    curve = dict(zip(MINUTES.tolist(), air(MINUTES).tolist(), strict=True))
    depot.send({"van": curve}, now=SENT_H)
    tag = depot.receive("van", 0.0, recorded=HOURS, liquid_c=liquid_c)
    before = computed(depot, tag)
    assert thin(depot, last_h=SENT_H) > 0.8 * len(curve)

    after = computed(depot, tag)

    for name in ("bottom", "mean", "top"):
        was, now = getattr(before.band, name)[0], getattr(after.band, name)[0]
        assert after.band.low[0] < was < after.band.high[0]
        assert abs(now - was) < (0.1 if air is not gated else 0.8)
    assert after.band.bottom_low[0] <= before.band.bottom_low[0]
    assert after.band.low[0] <= before.band.low[0]
    # the drive, and so the model's error, is a little less by means than by single readings
    assert after.band.high[0] >= before.band.high[0] - 0.05
    assert bool(after.state["resolved"][0]) == bool(before.state["resolved"][0])


def test_how_far_the_air_strayed_in_a_quarter_is_doubt_and_the_mean_stays_right(depot):
    curve = dict(zip(MINUTES.tolist(), gated(MINUTES).tolist(), strict=True))
    depot.send({"van": curve}, now=SENT_H)
    thin(depot, last_h=SENT_H)
    step = step_at(at(12.0))
    with depot.looking() as tx:
        air = read_places(
            tx, ground=read_ground(tx), place_ids=[depot.places["van"]], first=step, last=step + 12
        )[depot.places["van"]].air

    assert air.known.all()
    np.testing.assert_allclose(air.likely, (8 * 4.0 + 7 * 8.0) / 15.0)
    np.testing.assert_allclose(air.high - air.likely, 2.0)
    np.testing.assert_allclose(air.likely - air.low, 2.0)


def test_a_value_that_no_air_has_is_left_out_of_the_mean_of_its_quarter(depot):
    curve = dict.fromkeys(MINUTES.tolist(), 5.0)
    curve[MINUTES.tolist()[600]] = -127.0  # what is said of a sensor that was not found
    depot.send({"van": curve}, now=SENT_H)
    thin(depot, last_h=SENT_H)
    begin = step_at(at(MINUTES.tolist()[600] - 1.0))
    with depot.looking() as tx:
        air = read_places(
            tx,
            ground=read_ground(tx),
            place_ids=[depot.places["van"]],
            first=begin,
            last=begin + 24,
        )[depot.places["van"]].air

    np.testing.assert_allclose(air.likely, 5.0)
    np.testing.assert_allclose(air.low, 5.0)


def test_the_extremes_of_a_week_are_those_of_all_its_readings(depot):
    curve = dict(zip(MINUTES.tolist(), gated(MINUTES).tolist(), strict=True))
    depot.send({"van": curve}, now=SENT_H)
    with depot.writing() as tx:
        rollups.make(tx, hours=rollups.waiting(tx, before=hour_of(to_ms(at(HOURS)))))
    thin(depot, last_h=SENT_H)

    with depot.looking() as tx:
        van = sensor_by_name(tx, name="van")
        assert van is not None
        span = (to_ms(at(2.0)), to_ms(at(20.0)))
        found = retention.extremes(
            tx, sensor_id=van.id, from_ms=span[0], to_ms=span[1], within=(-50.0, 70.0)
        )
    assert found == (4.0, 8.0)
