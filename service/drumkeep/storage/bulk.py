"""Many rows, and many keys to look for, in few statements.

Through the expression language the same takes half as long again on SQLite; on PostgreSQL a row
at a time takes three times as long as whole columns.
"""

from collections.abc import Collection, Sequence
from functools import lru_cache
from itertools import chain
from typing import Any, Final, TypeVar

import msgspec
import psycopg
from psycopg.errors import UniqueViolation
from sqlalchemy import (
    ARRAY,
    BigInteger,
    ColumnElement,
    Connection,
    Integer,
    SQLColumnExpression,
    Text,
    any_,
    false,
    func,
    literal,
    select,
)
from sqlalchemy.exc import DBAPIError
from sqlalchemy.types import TypeEngine

from drumkeep.storage.transaction import Tx

_Key = TypeVar("_Key", bound=int | str)
_Value = TypeVar("_Value")

_ROWS_A_STATEMENT: Final = 200
"""On SQLite. The driver lets go of the interpreter's lock once a statement, and beside the busy
thread of the network it waits long to get it back: a row at a time takes twice as long."""

_NUMBERS: Final = {"int4", "int8", "float8"}

_COPIED_FROM: Final = 500
"""Rows; for fewer the savepoint costs more than is gained."""


def among(
    connection: Connection, column: ColumnElement[int], numbers: Sequence[int]
) -> ColumnElement[bool]:
    """Return the condition that a column is one of these whole numbers.

    On PostgreSQL all of them are one parameter: a thousand would take longer than the query.
    """
    if connection.dialect.name == "sqlite":
        return column.in_(numbers)
    return column == any_(literal(list(numbers), ARRAY(Integer)))


def keyed(
    connection: Connection, column: SQLColumnExpression[_Key], keys: Collection[_Key]
) -> ColumnElement[bool]:
    """Return the condition that a column is one of these keys, of which each has few rows.

    One parameter on both stores, so that the statement is made once for any number of keys; each
    is looked up in the column's index.
    """
    listed = sorted(set(keys))
    if not listed:
        return false()
    if connection.dialect.name == "sqlite":
        given = func.json_each(msgspec.json.encode(listed).decode()).table_valued("value")
        return column.in_(select(given.c.value))
    kind = Text if isinstance(listed[0], str) else BigInteger
    return column == any_(literal(listed, ARRAY(kind)))


def rows_keyed(
    tx: Tx, *, select: str, column: str, kind: str, keys: Collection[_Key]
) -> list[tuple[Any, ...]]:
    """Return the rows of which a column is one of these keys; as :func:`keyed`, for each batch.

    Through the expression language it takes several times as long to ask as to find.

    Parameters
    ----------
    select, column
        ``SELECT … FROM …`` and the column's name; text of ours.
    kind
        What PostgreSQL calls the column's type.
    """
    listed = sorted(set(keys))
    if not listed:
        return []
    connection = tx.session.connection()
    if connection.dialect.name == "sqlite":
        sql, given = "IN (SELECT value FROM json_each(?))", msgspec.json.encode(listed).decode()
        found = connection.exec_driver_sql(f"{select} WHERE {column} {sql}", (given,))
    else:
        sql = f"{select} WHERE {column} = ANY(%s::{kind}[])"
        found = connection.exec_driver_sql(sql, (listed,))
    return [tuple(row) for row in found]


def as_stored(connection: Connection, kind: TypeEngine[_Value], value: _Value) -> object:
    """Return a value as the driver takes it for a type, where a statement does not know that."""
    process = kind.dialect_impl(connection.dialect).bind_processor(connection.dialect)
    return value if process is None else process(value)


def insert(
    tx: Tx,
    *,
    into: str,
    types: Sequence[str],
    rows: Sequence[tuple[object, ...]],
    on_conflict: str | None = None,
) -> int:
    """Insert rows and return how many were.

    Parameters
    ----------
    into
        Table and columns, ``table (column, ...)``; text of ours, like ``on_conflict``.
    types
        What PostgreSQL calls the columns' types; numbers must be finite.
    rows
        In the order of the table's key: pages are then filled one after the other.
    on_conflict
        What follows ``ON CONFLICT``.
    """
    if not rows:
        return 0
    connection = tx.session.connection()
    conflict = "" if on_conflict is None else f" ON CONFLICT {on_conflict}"
    if connection.dialect.name == "sqlite":
        return _insert_sqlite(connection, into, conflict, rows)
    marks = ", ".join(f"%s::{kind}[]" for kind in types)
    sql = f"INSERT INTO {into} SELECT * FROM unnest({marks}){conflict}"  # noqa: S608 - text of ours
    columns = [
        _array(kind, column) for kind, column in zip(types, zip(*rows, strict=True), strict=True)
    ]
    return connection.exec_driver_sql(sql, tuple(columns)).rowcount


def insert_absent(
    tx: Tx, *, into: str, types: Sequence[str], rows: Sequence[tuple[float, ...]]
) -> int:
    """Insert rows of numbers that are hardly ever there already; return how many were inserted.

    One that is there stays. On PostgreSQL the clause for conflicts takes more than half of the
    time, so many rows are first copied without it.

    Parameters
    ----------
    into, types, rows
        As :func:`insert` takes them.
    """
    connection = tx.session.connection()
    if connection.dialect.name == "postgresql" and len(rows) >= _COPIED_FROM:
        try:
            with connection.begin_nested():
                return _copy(connection, into, rows)
        except UniqueViolation:
            pass
    return insert(tx, into=into, types=types, rows=rows, on_conflict="DO NOTHING")


def _copy(connection: Connection, into: str, rows: Sequence[tuple[float, ...]]) -> int:
    driver: psycopg.Connection = connection.connection.driver_connection  # type: ignore[assignment]
    sql = f"COPY {into} FROM STDIN (DELIMITER ',')"
    try:
        with driver.cursor() as cursor, cursor.copy(sql.encode()) as copy:
            copy.write(msgspec.json.encode(rows)[2:-2].replace(b"],[", b"\n"))
    except UniqueViolation:
        raise
    except psycopg.Error as error:
        # As it would be if the statement had gone through the engine.
        raise DBAPIError.instance(
            sql, None, error, psycopg.Error, dialect=connection.dialect
        ) from error
    return len(rows)


def _array(kind: str, column: tuple[object, ...]) -> object:
    """Return a column as the driver takes it; numbers written here take a quarter of the time."""
    if kind not in _NUMBERS:
        return list(column)
    return "{" + msgspec.json.encode(column)[1:-1].decode() + "}"


def _insert_sqlite(
    connection: Connection, into: str, conflict: str, rows: Sequence[tuple[object, ...]]
) -> int:
    columns = len(rows[0])
    whole = len(rows) - len(rows) % _ROWS_A_STATEMENT
    count = 0
    if whole:
        many = _insert_sql(into, conflict, columns, _ROWS_A_STATEMENT)
        for start in range(0, whole, _ROWS_A_STATEMENT):
            some = rows[start : start + _ROWS_A_STATEMENT]
            count += connection.exec_driver_sql(many, tuple(chain.from_iterable(some))).rowcount
    if whole < len(rows):
        one = _insert_sql(into, conflict, columns, 1)
        count += connection.exec_driver_sql(one, list(rows[whole:])).rowcount
    return count


@lru_cache
def _insert_sql(into: str, conflict: str, columns: int, rows: int) -> str:
    marks = ", ".join(["(" + ", ".join("?" * columns) + ")"] * rows)
    return f"INSERT INTO {into} VALUES {marks}{conflict}"  # noqa: S608 - text of ours
