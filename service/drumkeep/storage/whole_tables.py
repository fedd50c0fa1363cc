"""All rows of a table, some at a time in the order of its key; for what takes a store along."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Row, String, Table, func, literal, select, tuple_
from sqlmodel import SQLModel, col

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.storage import partitions
from drumkeep.storage.bulk import insert
from drumkeep.storage.partitions import Month
from drumkeep.storage.tables.leases import Lease
from drumkeep.storage.tables.readings import reading as reading_table
from drumkeep.storage.transaction import Tx

ROWS_AT_ONCE: Final = 5000
"""Of a table that does not say of itself (``info``) how few of its rows are much."""

_PARAMETERS_AT_ONCE: Final = 20_000


def every_table() -> Sequence[Table]:
    """Return the tables so that each comes after those to which it refers."""
    return SQLModel.metadata.sorted_tables


def is_served(tx: Tx, *, now: datetime) -> bool:
    """Return whether a service runs on the database, or did a moment ago."""
    held = select(col(Lease.name)).where(col(Lease.until) > now)
    return tx.session.execute(held).first() is not None


def keys(connection: Connection, table: Table) -> list[ColumnElement[Any]]:
    """Return the key's columns so that both kinds of database put them in one order."""
    plain = connection.dialect.name == "sqlite"
    return [
        column if plain or not isinstance(column.type, String) else column.collate("C")
        for column in table.primary_key
    ]


def bound(table: Table, key: Sequence[object]) -> list[ColumnElement[Any]]:
    """Return a key's values as its columns hold them."""
    columns = list(table.primary_key)
    return [literal(value, column.type) for column, value in zip(columns, key, strict=True)]


def _after(
    connection: Connection, table: Table, last: tuple[Any, ...] | None
) -> Sequence[Row[Any]]:
    """Return the rows that follow a key, or the first, as many as are well taken at once."""
    ordered = keys(connection, table)
    statement = select(table).order_by(*ordered).limit(at_once(table))
    if last is not None:
        statement = statement.where(tuple_(*ordered) > tuple_(*bound(table, last)))
    return connection.execute(statement).all()


def portions(
    connection: Connection, table: Table, *, last: tuple[Any, ...] | None = None
) -> Iterator[Sequence[Row[Any]]]:
    """Yield the rows of a table that follow a key, or all, a portion at a time."""
    while rows := _after(connection, table, last):
        yield rows
        last = tuple(rows[-1]._mapping[column.name] for column in table.primary_key)  # noqa: SLF001 - its public view


def at_once(table: Table) -> int:
    """Return how many rows of a table are taken at once."""
    return int(table.info.get("rows_at_once", ROWS_AT_ONCE))


def store(tx: Tx, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Store rows as they are; the partitions of readings are made as they are needed."""
    if table is reading_table:
        months = {Month.of_hour(hour) for hour in {row["hour"] for row in rows}}
        partitions.ensure(tx, months=months)
        insert(
            tx,
            into="reading (hour, sensor_id, ts, value)",
            types=("int4", "int4", "int8", "float8"),
            rows=[(row["hour"], row["sensor_id"], row["ts"], row["value"]) for row in rows],
        )
        return
    # One statement for many rows: a place may lie in one that comes later.
    size = _PARAMETERS_AT_ONCE // len(table.columns)
    for start in range(0, len(rows), size):
        tx.session.connection().execute(table.insert().values(rows[start : start + size]))


def plain(row: Row[Any]) -> Iterator[object]:
    """Yield a row's values as either driver gives them; each has a UTC of its own."""
    for value in row:
        yield value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value


def count_on(tx: Tx, tables: Sequence[Table]) -> None:
    """Have PostgreSQL count on where the stored ids end; SQLite does by itself."""
    connection = tx.session.connection()
    if connection.dialect.name != "postgresql":
        return
    for table in tables:
        column = table.autoincrement_column
        highest = None if column is None else connection.execute(select(func.max(column))).scalar()
        if column is not None and highest is not None:
            counter = func.pg_get_serial_sequence(f'"{table.name}"', column.name)
            connection.execute(select(func.setval(counter, highest)))
