"""A month of readings is a partition on PostgreSQL, made before anything goes into it."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from drumkeep.scheduler import jobs
from drumkeep.storage import partitions, readings, schema
from drumkeep.storage.engine import Engine
from drumkeep.storage.partitions import Month
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.stores import Store

NOW = datetime(2026, 11, 30, 23, 59, tzinfo=UTC)
T0 = 1_770_249_600_000  # 2026-02-05T00:00Z

pytestmark = pytest.mark.postgres


@pytest.fixture
def engine(store: Store, tmp_path: Path) -> Iterator[Engine]:
    with store.engine(tmp_path, mould=store.tables) as engine:
        yield engine


def months(engine: Engine) -> list[str]:
    with reading(engine) as tx:
        found = tx.session.connection().execute(
            text("SELECT relid::text FROM pg_partition_tree('reading') WHERE isleaf ORDER BY 1")
        )
        return list(found.scalars())


@pytest.mark.parametrize(
    ("at", "name"),
    [
        (datetime(2026, 1, 31, 23, tzinfo=UTC), "reading_y2026m01"),
        (datetime(2026, 2, 1, tzinfo=UTC), "reading_y2026m02"),
        (datetime(1969, 12, 31, 23, tzinfo=UTC), "reading_y1969m12"),
    ],
)
def test_an_hour_belongs_to_its_month_of_utc(at, name):
    hour = readings.hour_of(round(at.timestamp() * 1000))
    month = Month.of_hour(hour)

    assert month.table == name
    assert month.first_hour <= hour < month.later(1).first_hour


def test_the_job_makes_this_month_and_the_next_ones_and_then_nothing(engine):
    jobs.make_room(engine, NOW)
    made = months(engine)
    jobs.make_room(engine, NOW)

    assert made == [f"reading_y{m}" for m in ("2026m11", "2026m12", "2027m01", "2027m02")]
    assert months(engine) == made


def test_readings_of_any_month_find_a_partition(engine):
    hour = 3_600_000
    times = [T0, T0 - 1, T0 - 400 * 24 * hour, T0 + 24 * 24 * hour - 1, T0 + 24 * 24 * hour]
    with transaction(engine) as tx:
        assert readings.insert_batch(tx, rows=[(1, ts, 1.0) for ts in times]) == len(times)
        found = readings.series(tx, sensor_ids=[1], from_ms=min(times), to_ms=max(times))

    assert found[1][0].tolist() == sorted(times)
    assert months(engine) == [f"reading_y{m}" for m in ("2025m01", "2026m02", "2026m03")]


def test_a_partition_is_made_while_others_read(engine):
    with reading(engine) as tx:
        assert readings.series(tx, sensor_ids=[1], from_ms=T0, to_ms=T0)[1][0].size == 0
        with transaction(engine) as other:  # would wait 5 s and give up
            assert readings.insert_batch(other, rows=[(1, T0, 1.0)]) == 1


def test_a_batch_that_fails_leaves_no_partition(engine):
    with pytest.raises(ZeroDivisionError), transaction(engine) as tx:  # noqa: PT012
        readings.insert_batch(tx, rows=[(1, T0, 1.0)])
        raise ZeroDivisionError

    assert months(engine) == []


def test_partitions_are_no_difference_from_the_tables_of_the_code(engine):
    jobs.make_room(engine, NOW)

    assert schema.differences(engine) == []
    with transaction(engine) as tx:
        assert partitions.ensure_ahead(tx, now=NOW) == []
