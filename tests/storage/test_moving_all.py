"""Every table there is moves, whichever way; a move that was killed goes on."""

import os
import signal
import subprocess
import sys
from contextlib import ExitStack
from datetime import UTC, datetime

import pytest
from sqlalchemy import text
from sqlmodel import SQLModel

from drumkeep.cli.main import main
from drumkeep.storage import moving, readings, schema, whole_tables
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.every_table import both, fill

__all__ = ["both"]
pytestmark = pytest.mark.postgres


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
    # it began where it was
    assert f"reading: {half + whole_tables.ROWS_AT_ONCE:,} rows" in told.err
