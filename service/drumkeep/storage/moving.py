"""Move all that one database holds into another, of whatever kind either is.

Tables are copied in the order of their references and rows in that of their keys, some thousand to
a transaction. What was stopped half-way goes on after the last row that is there.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b
from typing import Any, Final

from sqlalchemy import Connection, Table, func, select, tuple_

from drumkeep.errors import Conflict, Fault
from drumkeep.storage import whole_tables
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction

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
    tables = whole_tables.every_table()
    for engine in (source, target):
        _refuse_while_served(engine, now)
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
        whole_tables.count_on(tx, tables)
    return moved


def _refuse_while_served(engine: Engine, now: datetime) -> None:
    with reading(engine) as tx:
        served = whole_tables.is_served(tx, now=now)
    if served:
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
        for rows in whole_tables.portions(connection, table, last=last):
            with transaction(target) as writing:
                whole_tables.store(writing, table, [dict(row._mapping) for row in rows])  # noqa: SLF001 - its public view
            there += len(rows)
            told(table.name, there)


def _end_of(connection: Connection, table: Table) -> tuple[tuple[Any, ...] | None, int]:
    order = [key.desc() for key in whole_tables.keys(connection, table)]
    last = connection.execute(select(*table.primary_key).order_by(*order).limit(1)).first()
    if last is None:
        return None, 0
    return tuple(last), _count(connection, table, upto=tuple(last))


def _count(connection: Connection, table: Table, *, upto: tuple[Any, ...]) -> int:
    upto_there = tuple_(*whole_tables.keys(connection, table)) <= tuple_(
        *whole_tables.bound(table, upto)
    )
    statement = select(func.count()).select_from(table).where(upto_there)
    return connection.execute(statement).scalar_one()


def _sum_of(engine: Engine, table: Table) -> Moved:
    digest = blake2b(digest_size=16)
    count = 0
    with reading(engine) as tx:
        connection = tx.session.connection()
        statement = select(table).order_by(*whole_tables.keys(connection, table))
        for row in connection.execution_options(yield_per=whole_tables.at_once(table)).execute(
            statement
        ):
            digest.update(repr([*whole_tables.plain(row)]).encode())
            count += 1
    return Moved(table.name, count, digest.hexdigest())


def _refusal(table: str, problem: str, mend: str) -> Conflict:
    return Conflict(_TITLE, [Fault(table, None, problem, mend)])
