"""PostgreSQL that is ended, and comes back: what was committed is there, and nobody starts anew."""

import threading
import time

import psycopg
import pytest

from drumkeep.errors import Unavailable
from drumkeep.storage import readings, schema
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.postgres import running_postgres
from tests.fixtures.stores import Store

pytestmark = pytest.mark.postgres

T0 = 1_770_249_600_000  # 2026-02-05T00:00Z


@pytest.fixture
def cluster():
    """Give a PostgreSQL of the test's own, which it may end."""
    with running_postgres() as cluster:
        yield cluster


def put(engine: Engine, minute: int) -> None:
    with transaction(engine) as tx:
        readings.insert_batch(tx, rows=[(1, T0 + minute * 60_000, float(minute))])


def stored(engine: Engine) -> list[float]:
    with reading(engine) as tx:
        found = readings.series(tx, sensor_ids=[1], from_ms=T0, to_ms=T0 + 3_600_000)
    values: list[float] = found[1][1].tolist()
    return values


def test_one_engine_outlives_a_server_that_is_ended_and_started_again(cluster):
    with cluster.database() as name:
        engine = create(cluster.url(name))
        schema.upgrade(engine)
        put(engine, 0)

        def die_within() -> None:
            with transaction(engine) as tx:
                readings.insert_batch(tx, rows=[(1, T0 + 60_000, 1.0)])
                cluster.stop("immediate")

        with pytest.raises(Unavailable):
            die_within()
        with pytest.raises(Unavailable):
            stored(engine)
        with pytest.raises(Unavailable):
            put(engine, 2)
        cluster.start()

        put(engine, 3)
        assert stored(engine) == [0.0, 3.0]
        engine.dispose()


def test_readings_that_must_wait_too_long_are_an_outage_few_or_many(cluster):
    with cluster.database() as name:
        engine = create(cluster.url(name))
        schema.upgrade(engine)
        put(engine, 0)
        many = [(1, T0 + second * 1000, 1.0) for second in range(1, 2001)]

        def wait_in_vain(rows: list[readings.Row]) -> None:
            with transaction(engine) as tx:
                tx.session.connection().exec_driver_sql("SET LOCAL lock_timeout = '100ms'")
                readings.insert_batch(tx, rows=rows)

        with psycopg.connect(cluster.url(name).replace("+psycopg", "")) as other:
            other.execute("LOCK TABLE reading IN SHARE MODE")
            for rows in (many[:1], many):
                with pytest.raises(Unavailable):
                    wait_in_vain(rows)

        with transaction(engine) as tx:
            assert readings.insert_batch(tx, rows=many) == len(many)
        engine.dispose()


def test_a_second_writer_waits_and_sees_what_the_first_wrote(store: Store, tmp_path):
    with store.engine(tmp_path, mould=store.tables) as engine:
        seen: list[list[float]] = []

        def write_after() -> None:
            with transaction(engine) as tx:
                found = readings.series(tx, sensor_ids=[1], from_ms=T0, to_ms=T0)
                seen.append(found[1][1].tolist())

        with transaction(engine) as tx:
            second = threading.Thread(target=write_after)
            second.start()
            time.sleep(0.3)
            assert seen == []
            readings.insert_batch(tx, rows=[(1, T0, 7.0)])
        second.join()

        assert seen == [[7.0]]


def test_a_writer_that_waits_too_long_is_told_to_try_again(store: Store, tmp_path):
    with store.engine(tmp_path, mould=store.tables) as engine:
        with transaction(engine):
            begun = time.monotonic()
            with pytest.raises(Unavailable), transaction(engine):
                pass
            assert 4.0 < time.monotonic() - begun < 20.0
        with transaction(engine):  # free again
            pass
