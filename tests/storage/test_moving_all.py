"""Every table there is moves, whichever way; a move that was killed goes on."""

import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from contextlib import ExitStack
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import Table, text
from sqlmodel import SQLModel

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.cli.main import main
from drumkeep.storage import moving, partitions, readings, schema, whole_tables
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.partitions import Month
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.stores import Store

pytestmark = pytest.mark.postgres
NOW = datetime(2026, 2, 4, tzinfo=UTC)
EITHER_OR = {("mount", "drum_id"), ("label_print", "drum_id")}
"""Columns that must be empty where another of the row is not."""


VALUES: Mapping[str, Any] = {
    "AutoString": "x",
    "BigInteger": 1,
    "Boolean": True,
    "Date": date(2026, 1, 20),
    "Float": 0.1,
    "Integer": 1,
    "JSON": {"a": [1.5, None, "ü"]},
    "LargeBinary": b"\x00\xff",
    "Text": "[]",
    "UTCDateTime": NOW,
    "Uuid": UUID(int=7),
}
"""Something that a column of a type holds."""


def one_row(table: Table) -> dict[str, Any]:
    return {
        column.name: None
        if (table.name, column.name) in EITHER_OR
        else VALUES[type(column.type).__name__]
        for column in table.columns
    }


def fill(engine: Engine) -> None:
    """Store one row in every table."""
    with transaction(engine) as tx:
        partitions.ensure(tx, months=[Month.of_hour(1)])
        for table in SQLModel.metadata.sorted_tables:
            tx.session.connection().execute(table.insert().values(one_row(table)))


@pytest.fixture(scope="module")
def both(postgres, tmp_path_factory):
    """Give a maker of databases of each kind."""
    stores = {
        "sqlite": Store(tmp_path_factory.mktemp("sqlite"), None),
        "postgresql": Store(tmp_path_factory.mktemp("postgresql"), postgres),
    }
    yield stores
    for store in stores.values():
        store.close()


@pytest.mark.parametrize(("one", "other"), [("sqlite", "postgresql"), ("postgresql", "sqlite")])
def test_a_row_of_every_table_there_is_moves_either_way(both, tmp_path, one, other):
    with ExitStack() as ends:
        source, target = (
            ends.enter_context(both[kind].engine(tmp_path, mould=both[kind].tables))
            for kind in (one, other)
        )
        fill(source)
        moved = moving.move(source, target, now=datetime.max.replace(tzinfo=UTC), told=_hear)

        # asked of the databases themselves, so that no list of ours can leave one out
        with target.connect() as connection:
            there = {
                name: connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one()  # noqa: S608
                for name in _tables(target)
            }
    assert there == dict.fromkeys(there, 1)
    assert {one.table for one in moved} == there.keys()
    assert len(there) > 30
    assert all(one.rows == 1 and len(one.checksum) == 32 for one in moved)


def _hear(_table: str, _rows: int) -> None:
    pass


def _tables(engine: Engine) -> list[str]:
    """Return the tables that the migrations made."""
    ask = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'table' "
        "AND name NOT LIKE 'sqlite_%'",
        "postgresql": "SELECT relname FROM pg_class WHERE relkind IN ('r', 'p') "
        "AND relnamespace = 'public'::regnamespace AND NOT relispartition",
    }
    with engine.connect() as connection:
        found = connection.exec_driver_sql(ask[engine.dialect.name]).scalars().all()
    return [name for name in found if name != "alembic_version"]


def test_ids_go_on_after_the_move(both, tmp_path):
    with ExitStack() as ends:
        source, target = (
            ends.enter_context(both[kind].engine(tmp_path, mould=both[kind].tables))
            for kind in ("sqlite", "postgresql")
        )
        fill(source)
        moving.move(source, target, now=datetime.max.replace(tzinfo=UTC), told=_hear)
        counted = {
            table.name: table.autoincrement_column.name
            for table in SQLModel.metadata.sorted_tables
            if table.autoincrement_column is not None
        }
        with target.connect() as connection:
            nexts = {
                name: connection.execute(
                    text("SELECT nextval(pg_get_serial_sequence(:name, :column))"),
                    {"name": f'"{name}"', "column": column},
                ).scalar()
                for name, column in counted.items()
            }
    assert len(nexts) > 10
    assert {name: n for name, n in nexts.items() if n is not None and n != 2} == {}


def _count(url: str) -> int:
    engine = create(url)
    with reading(engine) as tx:
        found: int = (
            tx.session.connection().exec_driver_sql("SELECT count(*) FROM reading").scalar_one()
        )
    engine.dispose()
    return found


@pytest.mark.slow
def test_a_move_that_was_killed_goes_on_and_ends_the_same(both, tmp_path, monkeypatch, capsys):
    monkeypatch.delenv("DRUMKEEP_DATABASE_URL", raising=False)
    source = create(f"sqlite:///{tmp_path / 'drumkeep.db'}")
    schema.upgrade(source)
    with transaction(source) as tx:
        rows = [(sensor, minute * 60_000, 0.1) for minute in range(2500) for sensor in range(10)]
        readings.insert_batch(tx, rows=rows)
    source.dispose()
    tables = both["postgresql"].tables
    with both["postgresql"].database(tmp_path, mould=tables) as url:
        command = ["move-store", "--data-dir", str(tmp_path), "--to", url]
        child = subprocess.Popen(
            [sys.executable, "-m", "drumkeep", *command],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        assert child.stderr is not None
        while "reading: 10,000" not in child.stderr.readline():
            assert child.poll() is None
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
        child.stderr.close()
        half = _count(url)
        assert main(command) == 0
        whole = _count(url)

    assert 10_000 <= half < whole == len(rows)
    told = capsys.readouterr()
    assert "set DRUMKEEP_DATABASE_URL" in told.out
    assert f"reading: {half + whole_tables.ROWS_AT_ONCE:,} rows" in told.err  # it began where it was
