"""What the databases could do by their own drivers, in the fastest ways that we know."""

import sqlite3
import statistics
import time
from collections.abc import Sequence
from contextlib import closing
from typing import Final, Protocol

import psycopg
from sqlalchemy.engine import make_url

ROWS_A_COMMIT: Final = 5000
COMMITS: Final = 40
_TABLE: Final = (
    "CREATE TABLE raw (hour int NOT NULL, sensor_id int NOT NULL, ts bigint NOT NULL, "
    "value double precision NOT NULL, PRIMARY KEY (hour, sensor_id, ts))"
)
_SENSORS: Final = 1000
_FIRST_HOUR: Final = 480_000

Row = tuple[int, int, int, float]
"""Hour, sensor, epoch ms, value."""


class Raw(Protocol):
    """A connection that stores rows in a table like that of readings."""

    def store(self, rows: Sequence[Row]) -> None:
        """Store rows in one transaction."""

    def close(self) -> None:
        """Close it."""


class RawSqlite:
    def __init__(self, url: str) -> None:
        self._connection = sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None)
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            "cache_size=-65536",
            "wal_autocheckpoint=4000",
        ):
            self._connection.execute(f"PRAGMA {pragma}")
        self._connection.execute(f"{_TABLE} WITHOUT ROWID")

    def store(self, rows: Sequence[Row]) -> None:
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.executemany(
            "INSERT INTO raw VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", rows
        )
        self._connection.execute("COMMIT")

    def close(self) -> None:
        self._connection.close()


class RawPostgres:
    def __init__(self, url: str) -> None:
        where = make_url(url)
        self._connection = psycopg.connect(
            host=where.host, port=where.port, user=where.username, dbname=where.database
        )
        self._connection.execute("SET synchronous_commit = on")
        self._connection.execute(_TABLE)
        self._connection.commit()

    def store(self, rows: Sequence[Row]) -> None:
        columns = tuple(map(list, zip(*rows, strict=True)))
        self._connection.execute(
            "INSERT INTO raw SELECT * FROM unnest(%b::int4[], %b::int4[], %b::int8[], "
            "%b::float8[]) ON CONFLICT DO NOTHING",
            columns,
            prepare=True,
        )
        self._connection.commit()

    def close(self) -> None:
        self._connection.close()


def raw(url: str) -> Raw:
    """Open a database by its own driver."""
    return RawSqlite(url) if url.startswith("sqlite") else RawPostgres(url)


def rows_per_s(url: str, *, rows: int) -> float:
    """Return how many rows a second are stored, in commits of five thousand."""
    made = [
        (_FIRST_HOUR + minute // 60, sensor, (_FIRST_HOUR * 60 + minute) * 60_000, 0.01 * sensor)
        for minute in range(rows // _SENSORS)
        for sensor in range(_SENSORS)
    ]
    with closing(raw(url)) as connection:
        begun = time.perf_counter()
        for start in range(0, len(made), ROWS_A_COMMIT):
            connection.store(made[start : start + ROWS_A_COMMIT])
        return len(made) / (time.perf_counter() - begun)


def commit_s(url: str, *, flush_s: float = 0.0) -> float:
    """Return how long a commit of one row takes, held up by so much; the median of many."""
    took = []
    with closing(raw(url)) as connection:
        for number in range(COMMITS):
            begun = time.perf_counter()
            connection.store([(_FIRST_HOUR, 1, number, 0.0)])
            time.sleep(flush_s)
            took.append(time.perf_counter() - begun)
    return statistics.median(took)
