"""Which readings of a sensor on a drum count: one an hour, and none that is old."""

import numpy as np
import pytest

from drumkeep.domain.grid import STEP_MS
from drumkeep.domain.straps import CONTACT_SIGMA_K, STRAP_STEPS, Strap, strap_readings
from tests.builders.past import FIRST, ms_of, step


def strap(*hours: float, sensor_id: int = 3, on_wall: bool = False) -> Strap:
    """A sensor that reads its own hour, at these hours."""
    ms = np.array([round(FIRST * STEP_MS + h * 3_600_000) for h in hours], dtype=np.int64)
    return Strap(sensor_id, on_wall, ms, np.array(hours), error_k=0.4)


def taken(*straps: Strap, first: float = 0.0, last: float = 6.0) -> list[tuple[int, float]]:
    return [
        (found - step(0.0), reading.c)
        for found, reading in strap_readings(straps, first=step(first), last=step(last))
    ]


def test_at_each_full_hour_the_newest_reading_of_the_hour_before_counts():
    assert ms_of(1.0) % (STRAP_STEPS * STEP_MS) == 0  # the grid's hours are the clock's
    found = taken(strap(0.2, 0.5, 0.9, 1.0, 1.1, 2.95), last=3.0)

    assert found == [(12, 1.0), (24, 1.1), (36, 2.95)]


def test_an_hour_without_a_reading_is_left_out():
    assert taken(strap(0.5, 3.5)) == [(12, 0.5), (48, 3.5)]


def test_a_start_between_hours_waits_for_the_next_and_gives_the_same_from_there():
    whole = taken(strap(*np.arange(0.1, 6.0, 0.3)))

    assert taken(strap(*np.arange(0.1, 6.0, 0.3)), first=2.4) == whole[2:]


def test_what_arrives_later_changes_no_hour_before_it():
    assert taken(strap(0.5, 1.5), last=2.0) == taken(strap(0.5, 1.5, 2.2), last=2.0)


def test_a_strap_on_the_skin_is_less_sure_than_its_sensor():
    assert strap(1.0).sigma_k == 0.4
    assert strap(1.0, on_wall=True).sigma_k == pytest.approx(np.hypot(0.4, CONTACT_SIGMA_K))
