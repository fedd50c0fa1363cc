"""Hourly figures of each sensor, made of its readings by a job, for what looks far back.

An hour in which something new was stored is marked in the same transaction, so that late readings
reach their hour, and nobody takes an old figure for a new one.
"""

from collections.abc import Sequence
from typing import Final

from sqlalchemy import Row, select

from drumkeep.storage.bulk import among, insert
from drumkeep.storage.tables.readings import rollup_1h, rollup_dirty
from drumkeep.storage.transaction import Tx

HOURS_AT_ONCE: Final = 100
"""Of one run: what a night without the job left takes a few runs and holds up no writer."""

Figures = Row[tuple[int, int, int, float, float, float]]
"""Hour, sensor id, how many readings, lowest, highest and the sum of all."""


def mark(tx: Tx, *, hours: Sequence[int]) -> None:
    """Have the figures of these hours made anew."""
    insert(
        tx,
        into="rollup_dirty (hour)",
        types=("int4",),
        rows=[(hour,) for hour in hours],
        on_conflict="DO NOTHING",
    )


def waiting(tx: Tx, *, before: int, limit: int = HOURS_AT_ONCE) -> list[int]:
    """Return hours before one whose figures must be made anew, the newest first."""
    return list(
        tx.session.connection().scalars(
            select(rollup_dirty.c.hour)
            .where(rollup_dirty.c.hour < before)
            .order_by(rollup_dirty.c.hour.desc())
            .limit(limit)
        )
    )


def make(tx: Tx, *, hours: Sequence[int]) -> None:
    """Make the figures of these hours of all their readings, and take their marks away.

    What was thinned there keeps the figures that all its readings gave.
    """
    connection = tx.session.connection()
    for hour in hours:
        connection.exec_driver_sql(
            "INSERT INTO rollup_1h (hour, sensor_id, n, low, high, total) "  # noqa: S608 - a number
            "SELECT hour, sensor_id, count(*), min(value), max(value), sum(value) FROM reading "
            f"WHERE hour = {hour:d} AND sensor_id NOT IN "
            f"(SELECT sensor_id FROM rollup_15m WHERE hour = {hour:d}) GROUP BY hour, sensor_id "
            "ON CONFLICT (hour, sensor_id) DO UPDATE SET n = excluded.n, low = excluded.low, "
            "high = excluded.high, total = excluded.total"
        )
    connection.execute(rollup_dirty.delete().where(among(connection, rollup_dirty.c.hour, hours)))


def figures(
    tx: Tx, *, sensor_ids: Sequence[int], hours: Sequence[int]
) -> tuple[Sequence[Figures], list[int]]:
    """Return what is known of sensors in these hours, and the hours of which readings must be read.

    Those are hours with a mark, and such as nothing was made of yet.
    """
    connection = tx.session.connection()
    found = connection.execute(
        select(rollup_1h).where(
            among(connection, rollup_1h.c.hour, hours),
            among(connection, rollup_1h.c.sensor_id, sensor_ids),
        )
    ).all()
    marked = set(
        connection.scalars(
            select(rollup_dirty.c.hour).where(among(connection, rollup_dirty.c.hour, hours))
        )
    )
    known = {row.hour for row in found} - marked
    return [row for row in found if row.hour in known], [h for h in hours if h not in known]
