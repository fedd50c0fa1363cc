"""Move all that one database holds into another, of whatever kind either is.

Tables are copied in the order of their references and rows in that of their keys, some thousand to
a transaction. What was stopped half-way goes on after the last row that is there, once all that is
there has been found to be the beginning of what is moved.
"""

from collections.abc import Callable, Generator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b
from itertools import zip_longest
from typing import Any, Final

from sqlalchemy import Table, func, select, tuple_

from drumkeep.errors import Conflict, Fault
from drumkeep.storage import served, whole_tables
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import Tx, reading, transaction

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
        Of which nothing is changed; nobody else may work on it.
    target
        Empty, or what an earlier call left half done. Otherwise it stays as it is.
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
    with served.alone(source), served.alone(target):
        for engine in (source, target):
            _refuse_while_served(engine, now)
        ends = [_end_of(target, table) for table in tables]
        for table, end in zip(tables, ends, strict=True):
            _refuse_other_rows(source, target, table, end)
        for table, end in zip(tables, ends, strict=True):
            _copy(source, target, table, end, told)
        moved = [_compared(source, target, table) for table in tables]
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


@dataclass(frozen=True, slots=True)
class _End:
    """How far a table has come: the key of its last row, and how many there are."""

    key: tuple[Any, ...] | None
    rows: int


def _end_of(engine: Engine, table: Table) -> _End:
    with reading(engine) as tx:
        connection = tx.session.connection()
        order = [key.desc() for key in whole_tables.keys(connection, table)]
        last = connection.execute(select(*table.primary_key).order_by(*order).limit(1)).first()
        count = connection.execute(select(func.count()).select_from(table)).scalar_one()
    return _End(None if last is None else tuple(last), count)


def _refuse_other_rows(source: Engine, target: Engine, table: Table, end: _End) -> None:
    """Refuse a target that holds anything but the beginning of the source's rows."""
    differs = None if end.key is None else _difference(source, target, table, upto=end.key)
    if differs is not None:
        raise _refusal(
            table.name,
            f"is not empty in the target, and {differs}. Nothing was copied",
            "Name an empty database (accounts come along, none is to be made there), or the one "
            "into which this store, unchanged since, was being moved.",
        )


def _copy(source: Engine, target: Engine, table: Table, end: _End, told: Told) -> None:
    there = end.rows
    with reading(source) as tx:
        for rows in whole_tables.portions(tx.session.connection(), table, last=end.key):
            with transaction(target) as writing:
                whole_tables.store(writing, table, [dict(row._mapping) for row in rows])  # noqa: SLF001 - its public view
            there += len(rows)
            told(table.name, there)


def _compared(source: Engine, target: Engine, table: Table) -> Moved:
    one, other = (_sum_of(engine, table) for engine in (source, target))
    if one != other:
        differs = _difference(source, target, table, upto=None) or "changes meanwhile"
        raise _refusal(
            table.name,
            f"{differs}: it holds {other.rows} rows with checksum {other.checksum}, "
            f"the source {one.rows} with {one.checksum}",
            "Empty the target database, stop whatever writes to either, and begin anew.",
        )
    return one


def _difference(
    source: Engine, target: Engine, table: Table, *, upto: tuple[Any, ...] | None
) -> str | None:
    """Tell the first row that is not the same in both, up to a key; None if all are."""
    at = [list(table.columns).index(column) for column in table.primary_key]
    with ExitStack() as both:
        ours, theirs = (
            both.enter_context(
                closing(_rows(both.enter_context(reading(engine)), table, upto=upto))
            )
            for engine in (source, target)
        )
        for one, other in zip_longest(ours, theirs):
            if repr(one) == repr(other):  # as the sums take them: nan is nan
                continue
            mine, its = (None if row is None else [row[i] for i in at] for row in (one, other))
            if mine == its:
                return f"differs in {_named(table, mine)}"
            if mine is None or (its is not None and its < mine):
                return f"has {_named(table, its)} that the source has not"
            return f"lacks {_named(table, mine)}"
    return None


def _named(table: Table, key: Sequence[object] | None) -> str:
    numbers = [f"{c.name} {v}" for c, v in zip(table.primary_key, key or (), strict=True)]
    # Whatever else a row goes by may be a secret.
    secret = any(not isinstance(part, int) for part in key or ())
    return "a row" if secret else f"the row of {', '.join(numbers)}"


def _rows(tx: Tx, table: Table, *, upto: tuple[Any, ...] | None = None) -> Generator[list[Any]]:
    connection = tx.session.connection()
    keys = whole_tables.keys(connection, table)
    statement = select(table).order_by(*keys)
    if upto is not None:
        statement = statement.where(tuple_(*keys) <= tuple_(*whole_tables.bound(table, upto)))
    portions = connection.execution_options(yield_per=whole_tables.at_once(table))
    with portions.execute(statement) as found:
        for row in found:
            yield [*whole_tables.plain(row)]


def _sum_of(engine: Engine, table: Table) -> Moved:
    digest = blake2b(digest_size=16)
    count = 0
    with reading(engine) as tx:
        for row in _rows(tx, table):
            digest.update(repr(row).encode())
            count += 1
    return Moved(table.name, count, digest.hexdigest())


def _refusal(table: str, problem: str, mend: str) -> Conflict:
    return Conflict(_TITLE, [Fault(table, None, problem, mend)])
