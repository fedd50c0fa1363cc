"""How PostgreSQL goes about the queries of pages: by indexes, never by reading all readings."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event

from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction
from tests.builders.stock import ago
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import make_yard

__all__ = ["manager", "serving"]
pytestmark = pytest.mark.postgres

# What pages must not read: a reading in a quarter of an hour of each of 400 sensors elsewhere.
FILL = """
    INSERT INTO reading (hour, sensor_id, ts, value)
    SELECT ts / 3600000, 1000000 + sensor, ts, 20.0
    FROM generate_series(1, 400) AS sensor,
         generate_series(%s::bigint, %s::bigint, 900000) AS ts
    ON CONFLICT DO NOTHING
"""
DAY_MS = 24 * 3_600_000


@pytest.fixture(scope="module")
def tag(serving, manager) -> str:
    """Give a drum with its past, in a database in which others have four hundred sensors."""
    yard = make_yard(serving, manager)
    tag: str = yard.receive(at=ago(24.0), liquid_c=10.0)["tag"]
    yard.advance()
    with transaction(serving.engine) as tx:
        connection = tx.session.connection()
        newest = connection.exec_driver_sql("SELECT max(ts) FROM reading").scalar()
        assert newest is not None
        connection.exec_driver_sql(FILL, (newest - 2 * DAY_MS, newest))
    with serving.engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")
        connection.commit()
    return tag


@contextmanager
def overheard(engine: Engine) -> Iterator[list[tuple[str, Any]]]:
    """Give the statements on readings that are run meanwhile, with their parameters."""
    heard: list[tuple[str, Any]] = []

    def listen(_connection, _cursor, statement, parameters, _context, _many) -> None:
        if "reading." in statement and statement.lstrip().startswith(("SELECT", "WITH")):
            heard.append((statement, parameters))

    event.listen(engine, "before_cursor_execute", listen)
    try:
        yield heard
    finally:
        event.remove(engine, "before_cursor_execute", listen)


def scans(engine: Engine, statement: str, parameters: Any) -> Iterator[tuple[str, str]]:
    """Yield how each partition is read that the plan of a statement opens."""
    with reading(engine) as tx:
        told = (
            tx.session.connection()
            .exec_driver_sql(f"EXPLAIN (ANALYZE, FORMAT JSON) {statement}", parameters)
            .scalar()
        )
    plan = json.loads(told) if isinstance(told, str) else told

    def walk(node: dict[str, Any]) -> Iterator[tuple[str, str]]:
        name = node.get("Relation Name") or node.get("Index Name") or ""
        if name.startswith("reading_y"):
            yield node["Node Type"], name
        for inner in node.get("Plans", ()):
            yield from walk(inner)

    assert plan is not None
    yield from walk(plan[0]["Plan"])


BOARD = ("/floor", "/floor/table")
WITH_READINGS = ("/drums/{tag}", "/drums/{tag}/chart.json?ahead=here", "/sensors")


@pytest.mark.parametrize("path", [*BOARD, *WITH_READINGS])
def test_pages_find_their_readings_by_index(serving, tag, path):
    with signed_in(serving, "viewer") as person, overheard(serving.engine) as heard:
        answer = person.client.get(path.format(tag=tag))
        assert answer.status_code == 200, answer.text[:300]

    found = [scan for statement in heard for scan in scans(serving.engine, *statement)]

    assert [scan for scan in found if "Seq" in scan[0]] == []
    if path in WITH_READINGS:
        assert found, "the page read no readings: the test would show nothing"


@pytest.mark.usefixtures("tag")
def test_the_computation_and_repeated_packs_find_theirs_by_index(serving, manager):
    yard = make_yard(serving, manager)
    with overheard(serving.engine) as heard:
        yard.receive(at=ago(20.0), liquid_c=10.0)
        yard.publish("hall", c=18.0, first_h=60.0)
        yard.advance()

    found = [scan for statement in heard for scan in scans(serving.engine, *statement)]

    assert [scan for scan in found if "Seq" in scan[0]] == []
    assert found
