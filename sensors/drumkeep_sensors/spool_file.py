"""The file of a spool: its tables, and how it is opened so that a power cut takes nothing kept."""

import secrets
import sqlite3
from pathlib import Path
from typing import Final

LOG_PAGES: Final = 100
"""Pages of 4096 octets in the write-ahead log before it is worked in: it stays under half a MB."""

_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS state (id INTEGER PRIMARY KEY CHECK (id = 1), file TEXT, next INTEGER);
CREATE TABLE IF NOT EXISTS sensor (id INTEGER PRIMARY KEY, name TEXT, unit TEXT,
    UNIQUE (name, unit));
CREATE TABLE IF NOT EXISTS reading (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    sensor INTEGER NOT NULL,
    value REAL NOT NULL,
    start TEXT,
    since_start_ms INTEGER,
    time_ms INTEGER,
    pack INTEGER,
    thinned INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX IF NOT EXISTS reading_pack ON reading (pack) WHERE pack IS NOT NULL;
CREATE INDEX IF NOT EXISTS reading_ready ON reading (seq)
    WHERE pack IS NULL AND time_ms IS NOT NULL;
CREATE INDEX IF NOT EXISTS reading_undated ON reading (start) WHERE time_ms IS NULL;
"""


def connect(file: Path) -> sqlite3.Connection:
    """Open a spool's file, made if it is not there.

    Raises
    ------
    sqlite3.DatabaseError
        It is broken; as ``OperationalError`` it cannot be written now.
    """
    connection = sqlite3.connect(file, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
        _check(connection)
        connection.executescript(_SCHEMA)
        connection.execute(
            "INSERT OR IGNORE INTO state (id, file, next) VALUES (1, ?, 1)", (secrets.token_hex(4),)
        )
    except BaseException:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection) -> None:
    (sound,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    if sound != "ok":
        raise sqlite3.DatabaseError(sound)
