"""Readings by sensor and time, and the latest of each sensor.

The key of a reading begins with its hour, so every query names the hours that it wants; a range of
hours alone would read all sensors.
"""

import math
from array import array
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select
from sqlmodel import col

from drumkeep.storage import partitions, rollups
from drumkeep.storage.bulk import among, insert, insert_absent, keyed, rows_keyed
from drumkeep.storage.partitions import Month
from drumkeep.storage.tables.catalogue import Mount, Place, Sensor, Site
from drumkeep.storage.tables.readings import reading
from drumkeep.storage.transaction import Tx

_HOUR_MS: Final = 3_600_000
_HOURS_AT_ONCE: Final = 1000
_KEYS_AT_ONCE: Final = 1000
_YIELDED: Final = 5000
_FIRST_LOOK_BACK_HOURS: Final = 6
_LAST_HOURS: Final = ", ".join(f"wanted.hour - {back}" for back in range(_FIRST_LOOK_BACK_HOURS))
_THREE_HOURS_MS: Final = 3 * _HOUR_MS

_SAME_KEY: Final = (
    "reading.hour = wanted.hour AND reading.sensor_id = wanted.sensor_id AND reading.ts = wanted.ts"
)
_LOOK_UP: Final = {
    # Both go through the keys and look each up, instead of scanning the readings for it: SQLite
    # takes a CROSS JOIN in the order written, PostgreSQL joins last what has a limit.
    "sqlite": f"reading WHERE {_SAME_KEY}",
    "postgresql": f"LATERAL (SELECT * FROM reading WHERE {_SAME_KEY} LIMIT 1) reading",  # noqa: S608
}

_Item = TypeVar("_Item")

Key = tuple[int, int]
"""Sensor id and epoch ms."""

Row = tuple[int, int, float]
"""Sensor id, epoch ms and value as the sensor gave it."""

Series = tuple[NDArray[np.int64], NDArray[np.float64]]
"""Epoch ms, ascending, and values as the sensor gave them."""


@dataclass(frozen=True, slots=True)
class Latest:
    """A sensor's newest reading, when it arrived, and the time of its oldest; epoch ms."""

    sensor_id: int
    ts_ms: int
    value: float
    received_ms: int
    first_ms: int


def hour_of(ts_ms: int) -> int:
    """Return the hour since 1970 in which a time in epoch ms lies."""
    return ts_ms // _HOUR_MS


def insert_batch(tx: Tx, *, rows: Iterable[Row]) -> int:
    """Store readings; where a sensor has one of that time already, the first stays.

    Returns
    -------
    int
        How many were new.
    """
    ordered = [(hour_of(ts), sensor_id, ts, value) for sensor_id, ts, value in sorted(rows)]
    if not ordered:
        return 0
    hours = sorted({row[0] for row in ordered})
    if len(hours) > 1:
        ordered.sort(key=itemgetter(0))
    partitions.ensure(tx, months={Month.of_hour(hour) for hour in hours})
    rollups.mark(tx, hours=hours)
    return insert_absent(
        tx,
        into="reading (hour, sensor_id, ts, value)",
        types=("int4", "int4", "int8", "float8"),
        rows=ordered,
    )


def stored(tx: Tx, *, keys: Iterable[Key]) -> dict[Key, float]:
    """Return the values that are there under these keys."""
    connection = tx.session.connection()
    look = _LOOK_UP[connection.dialect.name]
    found: dict[Key, float] = {}
    for some in _portions(sorted(keys), _KEYS_AT_ONCE):
        # Whole numbers of ours, written into the statement: as parameters they would pass the
        # limit.
        wanted = ", ".join(f"({hour_of(ts)}, {sensor_id}, {ts})" for sensor_id, ts in some)
        rows = connection.exec_driver_sql(
            f"WITH wanted (hour, sensor_id, ts) AS (VALUES {wanted}) "  # noqa: S608
            f"SELECT reading.sensor_id, reading.ts, reading.value FROM wanted CROSS JOIN {look}"
        )
        found |= {(sensor_id, ts): value for sensor_id, ts, value in rows}
    return found


def raise_latest(tx: Tx, *, rows: Iterable[Row], received_ms: int) -> None:
    """Note newer readings as the latest of their sensors, and older ones as their oldest."""
    ordered = sorted(rows)
    if not ordered:
        return
    newest = {row[0]: row for row in ordered}  # the last of each sensor stays
    oldest = {row[0]: row[1] for row in reversed(ordered)}
    newer = "excluded.ts > latest.ts"
    insert(
        tx,
        into="latest (sensor_id, ts, value, received_at, first_ts)",
        types=("int4", "int8", "float8", "int8", "int8"),
        rows=[
            (sensor_id, ts, value, received_ms, oldest[sensor_id])
            for sensor_id, ts, value in newest.values()
        ],
        on_conflict="(sensor_id) DO UPDATE SET "
        f"ts = CASE WHEN {newer} THEN excluded.ts ELSE latest.ts END, "
        f"value = CASE WHEN {newer} THEN excluded.value ELSE latest.value END, "
        f"received_at = CASE WHEN {newer} THEN excluded.received_at ELSE latest.received_at END, "
        "first_ts = CASE WHEN excluded.first_ts < latest.first_ts THEN excluded.first_ts "
        "ELSE latest.first_ts END",
    )


def newest(tx: Tx, *, sensor_ids: Collection[int]) -> dict[int, Latest]:
    """Return the newest reading of each of these sensors that has any, by sensor id."""
    select = "SELECT sensor_id, ts, value, received_at, first_ts FROM latest"
    rows = rows_keyed(tx, select=select, column="sensor_id", kind="int4", keys=sensor_ids)
    return {row[0]: Latest(*row) for row in rows}


def series(tx: Tx, *, sensor_ids: Sequence[int], from_ms: int, to_ms: int) -> dict[int, Series]:
    """Return the readings of sensors in a span of time, both ends included.

    Parameters
    ----------
    sensor_ids
        Each gets an entry in the answer, an empty one if it has no reading there.
    from_ms, to_ms
        Epoch ms.
    """
    # 16 octets a reading; as objects of Python it would be ten times as many for a while.
    found = {sensor_id: (array("q"), array("d")) for sensor_id in sensor_ids}
    connection = tx.session.connection()
    statement = select(reading.c.sensor_id, reading.c.ts, reading.c.value).where(
        among(connection, reading.c.sensor_id, list(found)), reading.c.ts.between(from_ms, to_ms)
    )
    for hours in _hours(from_ms, to_ms):
        for sensor_id, ts, value in connection.execute(
            statement.where(among(connection, reading.c.hour, hours)).order_by(
                reading.c.hour, reading.c.ts
            )
        ):
            times, values = found[sensor_id]
            times.append(ts)
            values.append(value)
    return {
        sensor_id: (np.array(times, dtype=np.int64), np.array(values, dtype=np.float64))
        for sensor_id, (times, values) in found.items()
    }


def extremes(
    tx: Tx,
    *,
    sensor_ids: Sequence[int],
    from_ms: int,
    to_ms: int,
    within: tuple[float, float] = (-math.inf, math.inf),
) -> dict[int, tuple[float, float]]:
    """Return the lowest and highest value of each sensor in a span of time, ends included.

    As the sensors gave them, of those values that lie ``within`` two others; a sensor without such
    a reading there has no entry.
    """
    statement = (
        select(
            reading.c.sensor_id,
            func.min(reading.c.value).label("low"),
            func.max(reading.c.value).label("high"),
        )
        .where(
            reading.c.sensor_id.in_(list(set(sensor_ids))),
            reading.c.ts.between(from_ms, to_ms),
            reading.c.value.between(*within),
        )
        .group_by(reading.c.sensor_id)
    )
    found: dict[int, tuple[float, float]] = {}
    connection = tx.session.connection()
    for hours in _hours(from_ms, to_ms):
        for sensor_id, low, high in connection.execute(
            statement.where(among(connection, reading.c.hour, hours))
        ):
            before = found.get(sensor_id, (low, high))
            found[sensor_id] = (min(low, before[0]), max(high, before[1]))
    return found


def every(
    tx: Tx, *, start_ms: int | None = None, end_ms: int | None = None, site: str | None = None
) -> Iterator[tuple[int, str, float, str]]:
    """Yield readings, the oldest first: epoch ms, sensor, value, unit; some at a time.

    Parameters
    ----------
    start_ms, end_ms
        Epoch ms; the end does not belong to it.
    site
        Code of a site: only of sensors that hang in a place there, or once did.
    """
    statement = select(reading.c.ts, col(Sensor.name), reading.c.value, col(Sensor.unit)).join_from(
        reading, Sensor, reading.c.sensor_id == col(Sensor.id)
    )
    if start_ms is not None:
        statement = statement.where(
            reading.c.hour >= start_ms // _HOUR_MS, reading.c.ts >= start_ms
        )
    if end_ms is not None:
        statement = statement.where(reading.c.hour <= end_ms // _HOUR_MS, reading.c.ts < end_ms)
    if site is not None:
        hung = select(col(Mount.sensor_id)).join_from(
            Mount, Place, col(Mount.place_id) == col(Place.id)
        )
        hung = hung.join(Site, col(Place.site_id) == col(Site.id)).where(col(Site.code) == site)
        statement = statement.where(reading.c.sensor_id.in_(hung))
    ordered = statement.order_by(reading.c.hour, reading.c.sensor_id, reading.c.ts)
    for row in tx.session.connection().execute(ordered.execution_options(yield_per=_YIELDED)):
        yield row[0], row[1], row[2], row[3]


def previous_ts(tx: Tx, *, sensor_id: int, ts_ms: int) -> int | None:
    """Return the time of a sensor's newest reading strictly before a time; None if none is."""
    return _newest_before(tx, sensor_id=sensor_id, ts_ms=ts_ms)


def previous(tx: Tx, *, before: Mapping[int, int]) -> dict[int, int]:
    """Return the time of the newest reading strictly before a time, for many sensors.

    Parameters
    ----------
    before
        Epoch ms by sensor id; a sensor without an earlier reading has no entry in the answer.
    """
    connection = tx.session.connection()
    found: dict[int, int] = {}
    far: list[int] = []
    for some in _portions(sorted(before.items()), _KEYS_AT_ONCE):
        # Whole numbers of ours, as above. Nearly all are found within a few hours.
        wanted = ", ".join(f"({sensor_id}, {ts}, {hour_of(ts)})" for sensor_id, ts in some)
        rows = connection.exec_driver_sql(
            f"WITH wanted (sensor_id, ts, hour) AS (VALUES {wanted}) "  # noqa: S608
            "SELECT wanted.sensor_id, (SELECT max(reading.ts) FROM reading "
            f"WHERE reading.hour IN ({_LAST_HOURS}) AND reading.sensor_id = wanted.sensor_id "
            "AND reading.ts < wanted.ts) FROM wanted"
        )
        for sensor_id, near in rows:
            if near is None:
                far.append(sensor_id)
            else:
                found[sensor_id] = near
    known = newest(tx, sensor_ids=far) if far else {}
    for sensor_id, ends in known.items():  # a sensor that is new has nothing before
        if ends.first_ms < before[sensor_id]:
            ts = previous_ts(tx, sensor_id=sensor_id, ts_ms=before[sensor_id])
            if ts is not None:
                found[sensor_id] = ts
    return found


def unchanging(tx: Tx, *, sensor_ids: Sequence[int], from_ms: int, to_ms: int) -> set[int]:
    """Return which sensors said only one value in three whole hours of a span of time.

    By the clock, from midnight UTC on: a standstill of six hours has such three in it.
    """
    first, past = -(-from_ms // _THREE_HOURS_MS), to_ms // _THREE_HOURS_MS
    connection = tx.session.connection()
    statement = (
        select(reading.c.sensor_id)
        .where(keyed(connection, reading.c.sensor_id, sensor_ids))
        .group_by(reading.c.sensor_id, reading.c.hour // 3)
        .having(func.min(reading.c.value) == func.max(reading.c.value))
        .distinct()
    )
    found: set[int] = set()
    # whole threes of hours at once, else a part of three would count for all
    for hours in _portions(range(3 * first, 3 * past), 3 * (_HOURS_AT_ONCE // 3)):
        found |= set(connection.scalars(statement.where(among(connection, reading.c.hour, hours))))
    return found


def differed_ts(tx: Tx, *, sensor_id: int, ts_ms: int, value: float) -> int | None:
    """Return the time of a sensor's newest reading before a time that says another value."""
    return _newest_before(tx, sensor_id=sensor_id, ts_ms=ts_ms, but=value)


def first_ts(tx: Tx, *, sensor_id: int, from_ms: int, to_ms: int) -> int | None:
    """Return the time of a sensor's first reading in a span, ends included; None if none is."""
    statement = select(func.min(reading.c.ts)).where(
        reading.c.sensor_id == sensor_id, reading.c.ts.between(from_ms, to_ms)
    )
    connection = tx.session.connection()
    for hours in _hours(from_ms, to_ms):
        found: int | None = connection.scalar(
            statement.where(among(connection, reading.c.hour, hours))
        )
        if found is not None:
            return found
    return None


def _newest_before(tx: Tx, *, sensor_id: int, ts_ms: int, but: float | None = None) -> int | None:
    known = newest(tx, sensor_ids=[sensor_id]).get(sensor_id)
    if known is None or known.first_ms >= ts_ms:
        return None
    if but is None and known.ts_ms < ts_ms:
        return known.ts_ms
    statement = select(func.max(reading.c.ts)).where(
        reading.c.sensor_id == sensor_id, reading.c.ts < ts_ms
    )
    if but is not None:
        statement = statement.where(reading.c.value != but)
    connection = tx.session.connection()
    # Backwards, each look longer than the one before: the answer is nearly always close.
    last, span = hour_of(min(ts_ms, known.ts_ms)), _FIRST_LOOK_BACK_HOURS
    oldest = hour_of(known.first_ms)
    while last >= oldest:
        hours = list(range(max(oldest, last - span + 1), last + 1))
        found: int | None = connection.scalar(
            statement.where(among(connection, reading.c.hour, hours))
        )
        if found is not None:
            return found
        last -= span
        span = min(span * 4, _HOURS_AT_ONCE)
    return None


def _hours(from_ms: int, to_ms: int) -> Iterator[list[int]]:
    return _portions(range(hour_of(from_ms), hour_of(to_ms) + 1), _HOURS_AT_ONCE)


def _portions(items: Sequence[_Item], size: int) -> Iterator[list[_Item]]:
    for start in range(0, len(items), size):
        yield list(items[start : start + size])
