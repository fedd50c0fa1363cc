"""Hourly figures are those of all readings of the hour, whenever these came."""

import numpy as np
import pytest
from sqlalchemy import select

from drumkeep.storage import air, readings, rollups
from drumkeep.storage.tables.readings import rollup_1h
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

H0 = 491_736  # the hour that begins at 2026-02-05T00:00Z
HOUR = 3_600_000
LATE = H0 + 1000


def store(shed: Shed, *rows: tuple[int, float, float]) -> None:
    """Store readings: sensor, hours after H0, value."""
    with transaction(shed.engine) as tx:
        made = [(sensor, round((H0 + hours) * HOUR), value) for sensor, hours, value in rows]
        readings.insert_batch(tx, rows=made)


def roll_up(shed: Shed, *, before: int = LATE) -> list[int]:
    with transaction(shed.engine) as tx:
        hours = rollups.waiting(tx, before=before)
        rollups.make(tx, hours=hours)
    return hours


def figures(shed: Shed) -> list[tuple[int, int, int, float, float, float]]:
    with reading(shed.engine) as tx:
        rows = tx.session.connection().execute(
            select(rollup_1h).order_by(rollup_1h.c.hour, rollup_1h.c.sensor_id)
        )
        return [(row[0] - H0, *row[1:]) for row in rows]


def means(shed: Shed, *, last: int) -> list[float]:
    with reading(shed.engine) as tx:
        found = air.hourly_means(tx, sensor_ids=[shed.air], first_hour=H0, last_hour=H0 + last)
    hours: list[float] = found[shed.air].tolist()
    return hours


def test_an_hour_has_the_figures_of_its_readings_by_sensor(shed: Shed):
    store(
        shed,
        (shed.air, 0.0, 4.0),
        (shed.air, 0.5, -1.0),
        (shed.air, 1.0, 9.0),
        (shed.damp, 0.25, 80.0),
    )

    assert roll_up(shed) == [H0 + 1, H0]
    assert figures(shed) == [
        (0, shed.air, 2, -1.0, 4.0, 3.0),
        (0, shed.damp, 1, 80.0, 80.0, 80.0),
        (1, shed.air, 1, 9.0, 9.0, 9.0),
    ]
    assert roll_up(shed) == []


def test_an_hour_that_is_not_over_waits(shed: Shed):
    store(shed, (shed.air, 0.0, 4.0), (shed.air, 1.0, 5.0))

    assert roll_up(shed, before=H0 + 1) == [H0]
    assert roll_up(shed, before=H0 + 2) == [H0 + 1]


def test_a_late_reading_reaches_its_hour(shed: Shed):
    store(shed, (shed.air, 0.0, 4.0))
    roll_up(shed)

    store(shed, (shed.air, 0.5, 8.0))

    assert roll_up(shed) == [H0]
    assert figures(shed) == [(0, shed.air, 2, 4.0, 8.0, 12.0)]


def test_means_are_right_at_every_moment_of_the_job(shed: Shed):
    store(shed, (shed.air, 0.0, 4.0), (shed.air, 0.5, 8.0), (shed.air, 2.0, 1.0))
    expected = [6.0, np.nan, 1.0, np.nan]
    np.testing.assert_equal(means(shed, last=3), expected)

    roll_up(shed, before=H0 + 1)
    np.testing.assert_equal(means(shed, last=3), expected)
    roll_up(shed)
    np.testing.assert_equal(means(shed, last=3), expected)

    store(shed, (shed.air, 0.75, 0.0))  # its hour's figure is old now, and nobody takes it
    np.testing.assert_equal(means(shed, last=3), [4.0, np.nan, 1.0, np.nan])
