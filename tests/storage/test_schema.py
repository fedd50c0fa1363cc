"""Migrations: up, down, complete, and never half done."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import inspect

from drumkeep.errors import Conflict, Unavailable
from drumkeep.storage import schema
from drumkeep.storage.engine import CHANGES_SCHEMA, Engine
from drumkeep.storage.transaction import reading
from tests.fixtures.stores import Store

pytestmark = pytest.mark.both_stores


@pytest.fixture
def engine(store: Store, tmp_path: Path) -> Iterator[Engine]:
    with store.engine(tmp_path) as engine:
        yield engine


def revision(engine: Engine) -> str | None:
    with reading(engine) as tx:
        return schema.revision(tx)


def tables(engine: Engine) -> set[str]:
    return set(inspect(engine).get_table_names())


def test_the_migrations_make_exactly_the_tables_of_the_code(engine):
    schema.upgrade(engine)

    assert schema.differences(engine) == []
    assert revision(engine) == schema.newest()


def test_up_again_changes_nothing(engine):
    schema.upgrade(engine)
    schema.upgrade(engine)

    assert revision(engine) == schema.newest()


def test_down_takes_all_of_it_away_and_up_brings_it_back(engine):
    schema.upgrade(engine)
    made = tables(engine)

    schema.downgrade(engine, to="base")
    assert tables(engine) == {"alembic_version"}
    assert revision(engine) is None

    schema.upgrade(engine)
    assert tables(engine) == made


def test_every_constraint_has_a_name(engine):
    schema.upgrade(engine)
    found = inspect(engine)

    for table in found.get_table_names():
        if table == "alembic_version":
            continue
        assert found.get_pk_constraint(table)["name"], table
        for key in (*found.get_foreign_keys(table), *found.get_unique_constraints(table)):
            assert key["name"], (table, key)


def test_a_change_that_fails_leaves_nothing_behind(engine):
    changing = engine.execution_options(**{CHANGES_SCHEMA: True})

    with pytest.raises(ZeroDivisionError), changing.begin() as connection:  # noqa: PT012
        connection.exec_driver_sql("CREATE TABLE half (done INTEGER)")
        raise ZeroDivisionError

    assert tables(engine) == set()


def test_a_store_of_a_later_version_is_told_as_such(engine):
    schema.upgrade(engine)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(Conflict, match=r"later version of drumkeep.*9999"):
        schema.upgrade(engine)


def test_a_store_that_lacks_what_this_version_needs_is_told_as_such_and_not_as_busy(engine):
    schema.upgrade(engine)
    schema.check(engine)
    with engine.execution_options(**{CHANGES_SCHEMA: True}).begin() as connection:
        connection.exec_driver_sql("ALTER TABLE account RENAME COLUMN language TO tongue")
        connection.exec_driver_sql("ALTER TABLE alarm_entry RENAME TO alarm_line")

    with pytest.raises(Conflict, match=r"another version.*account\.language, alarm_entry"):
        schema.check(engine)
    for missing in ("SELECT language FROM account", "SELECT * FROM alarm_entry"):
        with pytest.raises(Unavailable, match="not set up for this version"), reading(engine) as tx:
            tx.session.connection().exec_driver_sql(missing)
