"""Move all that one database holds into another, of whatever kind either is.

Tables are copied in the order of their references and rows in that of their keys, some thousand to
a transaction. What was stopped half-way goes on after the last row that is there.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import blake2b
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Row, String, Table, func, literal, select, tuple_
from sqlmodel import SQLModel, col

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.errors import Conflict, Fault
from drumkeep.storage import partitions
from drumkeep.storage.bulk import insert
from drumkeep.storage.engine import Engine
from drumkeep.storage.partitions import Month
from drumkeep.storage.tables.leases import Lease
from drumkeep.storage.tables.readings import reading as reading_table
from drumkeep.storage.transaction import Tx, reading, transaction

ROWS_AT_ONCE: Final = 5000
"""Of a table that does not say of itself (``info``) how few of its rows are much."""
_PARAMETERS_AT_ONCE: Final = 20_000
_TITLE: Final = "The store cannot be moved."

Told = Callable[[str, int], None]
"""Takes the name of a table and how many of its rows are there."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A table that is there whole: how many rows, and a checksum that both databases gave."""

    table: str
    rows: int
    checksum: str


def move(source: Engine, target: Engine, *, now: datetime, told: Told) -> list[Moved]:
    """Copy every row, then compare both databases; both must have the tables of this version.

    Parameters
    ----------
    source
        Of which nothing is changed; no service may run on it.
    target
        Empty, or what an earlier call left half done.
    now
        The present, UTC.
    told
        Called as it goes on.

    Raises
    ------
    Conflict
        A service runs on either of them, the target holds something else, or the two differ in the
        end.
    """
    tables = SQLModel.metadata.sorted_tables
    for engine in (source, target):
        _check_still(engine, now)
    for table in tables:
        _copy(source, target, table, told)
    moved = []
    for table in tables:
        one, other = (_sum_of(engine, table) for engine in (source, target))
        if one != other:
            raise _refusal(
                table.name,
                f"holds {other.rows} rows with checksum {other.checksum}, "
                f"the source {one.rows} with {one.checksum}",
                "Empty the target database, stop whatever writes to either, and begin anew.",
            )
        moved.append(one)
    with transaction(target) as tx:
        _set_counters(tx, tables)
    return moved


def _check_still(engine: Engine, now: datetime) -> None:
    with reading(engine) as tx:
        held = (
            tx.session.execute(select(col(Lease.name)).where(col(Lease.until) > now))
            .scalars()
            .first()
        )
    if held is not None:
        raise _refusal(
            str(engine.url.database),
            "has a service running on it, or had a moment ago",
            "Stop the service, wait a minute, and call the command again.",
        )


def _copy(source: Engine, target: Engine, table: Table, told: Told) -> None:
    with reading(source) as tx:
        connection = tx.session.connection()
        with reading(target) as other:
            last, there = _end_of(other.session.connection(), table)
        if last is not None and there != _count(connection, table, upto=last):
            raise _refusal(
                table.name,
                "holds rows in the target that the source has not",
                "Name an empty database, or the one into which this store was being moved.",
            )
        while rows := _after(connection, table, last):
            with transaction(target) as writing:
                _insert(writing, table, rows)
            last = tuple(rows[-1]._mapping[column.name] for column in table.primary_key)  # noqa: SLF001 - its public view
            there += len(rows)
            told(table.name, there)


def _keys(connection: Connection, table: Table) -> list[ColumnElement[Any]]:
    """Return the key's columns so that both kinds of database put them in one order."""
    plain = connection.dialect.name == "sqlite"
    return [
        column if plain or not isinstance(column.type, String) else column.collate("C")
        for column in table.primary_key
    ]


def _bound(table: Table, key: Sequence[object]) -> list[ColumnElement[Any]]:
    columns = list(table.primary_key)
    return [literal(value, column.type) for column, value in zip(columns, key, strict=True)]


def _end_of(connection: Connection, table: Table) -> tuple[tuple[Any, ...] | None, int]:
    order = [key.desc() for key in _keys(connection, table)]
    last = connection.execute(select(*table.primary_key).order_by(*order).limit(1)).first()
    if last is None:
        return None, 0
    return tuple(last), _count(connection, table, upto=tuple(last))


def _count(connection: Connection, table: Table, *, upto: tuple[Any, ...]) -> int:
    upto_there = tuple_(*_keys(connection, table)) <= tuple_(*_bound(table, upto))
    statement = select(func.count()).select_from(table).where(upto_there)
    return connection.execute(statement).scalar_one()


def _after(
    connection: Connection, table: Table, last: tuple[Any, ...] | None
) -> Sequence[Row[Any]]:
    keys = _keys(connection, table)
    statement = select(table).order_by(*keys).limit(_at_once(table))
    if last is not None:
        statement = statement.where(tuple_(*keys) > tuple_(*_bound(table, last)))
    return connection.execute(statement).all()


def _at_once(table: Table) -> int:
    return int(table.info.get("rows_at_once", ROWS_AT_ONCE))


def _insert(tx: Tx, table: Table, rows: Sequence[Row[Any]]) -> None:
    if table is reading_table:
        partitions.ensure(tx, months={Month.of_hour(hour) for hour in {row.hour for row in rows}})
        insert(
            tx,
            into="reading (hour, sensor_id, ts, value)",
            types=("int4", "int4", "int8", "float8"),
            rows=[tuple(row) for row in rows],
        )
        return
    # One statement for many rows: a place may lie in one that comes later.
    size = _PARAMETERS_AT_ONCE // len(table.columns)
    for start in range(0, len(rows), size):
        some = [dict(row._mapping) for row in rows[start : start + size]]  # noqa: SLF001 - its public view
        tx.session.connection().execute(table.insert().values(some))


def _sum_of(engine: Engine, table: Table) -> Moved:
    digest = blake2b(digest_size=16)
    count = 0
    with reading(engine) as tx:
        connection = tx.session.connection()
        statement = select(table).order_by(*_keys(connection, table))
        for row in connection.execution_options(yield_per=_at_once(table)).execute(statement):
            digest.update(repr([*_plain(row)]).encode())
            count += 1
    return Moved(table.name, count, digest.hexdigest())


def _plain(row: Row[Any]) -> Iterator[object]:
    """Yield a row's values as either driver gives them; each has a UTC of its own."""
    for value in row:
        yield value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value


def _set_counters(tx: Tx, tables: Sequence[Table]) -> None:
    """Have PostgreSQL count on where the copied ids end; SQLite does by itself."""
    connection = tx.session.connection()
    if connection.dialect.name != "postgresql":
        return
    for table in tables:
        column = table.autoincrement_column
        highest = None if column is None else connection.execute(select(func.max(column))).scalar()
        if column is not None and highest is not None:
            counter = func.pg_get_serial_sequence(f'"{table.name}"', column.name)
            connection.execute(select(func.setval(counter, highest)))


def _refusal(table: str, problem: str, mend: str) -> Conflict:
    return Conflict(_TITLE, [Fault(table, None, problem, mend)])
