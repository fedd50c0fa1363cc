"""Locks that end with the process that holds them: of each thing one holder at a time.

PostgreSQL: advisory locks of one connection that does nothing else; the server frees them when the
connection ends, within a second of a ``kill -9``. SQLite: locked files beside the database, since
all who use that are on one machine.
"""

import fcntl
import os
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Final, Protocol

from sqlalchemy import Connection, NullPool, create_engine, text
from sqlalchemy.exc import SQLAlchemyError

from drumkeep.storage.engine import Engine

SCHEDULE: Final = 0
"""Number of the lock of the one process that runs the jobs."""
INGEST_WORKERS: Final = 1
"""Number of the lock that all who ingest share, to be counted."""
SERVED: Final = 2
"""Number of the lock that all who work on the database share; who needs it alone takes it."""
FIRST_SLOT: Final = 100
"""Number of the lock of the first session at the broker; the others follow."""

TRUST_S: Final = 5.0
"""So long after it last answered the server is taken to keep our locks: less than it takes to give
up a connection whose other end is silent (:data:`_SILENT`)."""
HUNG_S: Final = 30.0
"""A holder that has not been heard for so long hangs: its connection is ended."""

_CLASS: Final = 0x64726C6B  # "drlk"; keys of two numbers never meet those of one (engine.py)

_SILENT: Final = {"idle": 5, "interval": 2, "count": 3}
_SESSION: Final = {
    "statement_timeout": "3s",
    # The server's own default is two hours.
    "tcp_keepalives_idle": str(_SILENT["idle"]),
    "tcp_keepalives_interval": str(_SILENT["interval"]),
    "tcp_keepalives_count": str(_SILENT["count"]),
}

_OURS: Final = """
    FROM pg_locks JOIN pg_stat_activity USING (pid)
    WHERE locktype = 'advisory' AND objsubid = 2 AND granted AND classid = :kind
    AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
"""
_HOLDERS: Final = text(f"SELECT objid, pid {_OURS}")
_END_HUNG: Final = text(
    f"SELECT pg_terminate_backend(pid) {_OURS}"
    " AND pid <> pg_backend_pid()"
    " AND state = 'idle' AND clock_timestamp() - state_change > make_interval(secs => :hung_s)"
)


class Locks(Protocol):
    """The locks that this process holds, by number.

    None of the methods raises when the database is away: what is not known to be held is not.
    """

    def beat(self) -> bool:
        """See whether the locks are still held; to be called twice a second.

        Returns
        -------
        bool
            False when nobody could be asked: :meth:`holds` then says no, and another may take over,
            though none does while the database is away.
        """

    def holds(self, number: int) -> bool:
        """Whether a lock is ours at this moment."""

    def take(self, number: int) -> bool:
        """Take a lock, or fail at once; one that is held already stays so."""

    def share(self, number: int) -> bool:
        """Hold a lock together with any others that share it."""

    def give_back(self, number: int) -> None:
        """Let others have a lock."""

    def holders(self) -> Mapping[int, frozenset[int]]:
        """Return who holds each lock of this database, as numbers that mean nothing else."""

    @property
    def me(self) -> int:
        """What we are called among the :meth:`holders`."""

    def close(self) -> None:
        """Give everything back."""


def locks_of(engine: Engine, *, hung_s: float = HUNG_S) -> Locks:
    """Return the locks of a database; nothing is opened yet."""
    if engine.dialect.name == "sqlite":
        return _FileLocks(engine)
    return _ServerLocks(engine, hung_s=hung_s)


class _ServerLocks:
    def __init__(self, engine: Engine, *, hung_s: float) -> None:
        self._hung_s = hung_s
        self._engine = create_engine(
            engine.url,
            poolclass=NullPool,
            isolation_level="AUTOCOMMIT",
            connect_args={
                "application_name": "drumkeep locks",
                "connect_timeout": 3,
                "keepalives_idle": _SILENT["idle"],
                "keepalives_interval": _SILENT["interval"],
                "keepalives_count": _SILENT["count"],
                "tcp_user_timeout": 3000,  # ms
                "options": " ".join(f"-c {name}={value}" for name, value in _SESSION.items()),
            },
        )
        self._connection: Connection | None = None
        self._held: dict[int, str] = {}
        self._answered_at = -TRUST_S
        self._mutex = threading.RLock()
        self.me = 0

    def beat(self) -> bool:
        with self._mutex:
            asked_at = time.monotonic()
            try:
                if self._connection is None:
                    self._connect()
                else:
                    self._connection.execute(text("SELECT 1"))
            except SQLAlchemyError:
                self._lose()
                return False
            self._answered_at = asked_at
            return True

    def holds(self, number: int) -> bool:
        return number in self._held and time.monotonic() < self._answered_at + TRUST_S

    def take(self, number: int) -> bool:
        return self._try(number, "pg_try_advisory_lock")

    def share(self, number: int) -> bool:
        return self._try(number, "pg_try_advisory_lock_shared")

    def give_back(self, number: int) -> None:
        with self._mutex:
            how = self._held.pop(number, None)
            if how is None or self._connection is None:
                return
            undo = how.replace("try_advisory_lock", "advisory_unlock")
            try:
                self._call(self._connection, undo, number)
            except SQLAlchemyError:
                self._lose()

    def holders(self) -> dict[int, frozenset[int]]:
        with self._mutex:
            if self._connection is None:
                return {}
            try:
                self._connection.execute(_END_HUNG, {"kind": _CLASS, "hung_s": self._hung_s})
                rows = self._connection.execute(_HOLDERS, {"kind": _CLASS}).all()
            except SQLAlchemyError:
                self._lose()
                return {}
        found: dict[int, set[int]] = {}
        for number, pid in rows:
            found.setdefault(number, set()).add(pid)
        return {number: frozenset(pids) for number, pids in found.items()}

    def close(self) -> None:
        with self._mutex:
            self._held.clear()
            self._lose()

    def _try(self, number: int, how: str) -> bool:
        with self._mutex:
            if number in self._held:  # they would count how often they were taken
                return self.holds(number)
            if self._connection is None and not self.beat():
                return False
            assert self._connection is not None  # noqa: S101 - it has just answered
            try:
                taken = self._call(self._connection, how, number)
            except SQLAlchemyError:
                self._lose()
                return False
            if taken:
                self._held[number] = how
            return taken

    def _connect(self) -> None:
        """Connect anew, and take again what was held, unless somebody else has it by now."""
        connection = self._engine.connect()
        self._connection = connection
        self.me = int(connection.scalar(text("SELECT pg_backend_pid()")) or 0)
        self._held = {
            number: how for number, how in self._held.items() if self._call(connection, how, number)
        }

    def _lose(self) -> None:
        self._answered_at = -TRUST_S
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.invalidate()
            connection.close()

    @staticmethod
    def _call(connection: Connection, function: str, number: int) -> bool:
        sql = f"SELECT {function}(CAST(:kind AS int), CAST(:number AS int))"
        return bool(connection.scalar(text(sql), {"kind": _CLASS, "number": number}))


class _FileLocks:
    def __init__(self, engine: Engine) -> None:
        self._database = Path(engine.url.database or "")
        self._files: dict[int, int] = {}
        self._mutex = threading.Lock()
        self.me = os.getpid()

    def beat(self) -> bool:
        return True

    def holds(self, number: int) -> bool:
        return number in self._files

    def take(self, number: int) -> bool:
        return self._try(number, fcntl.LOCK_EX)

    def share(self, number: int) -> bool:
        return self._try(number, fcntl.LOCK_SH)

    def give_back(self, number: int) -> None:
        with self._mutex:
            file = self._files.pop(number, None)
            if file is not None:
                os.close(file)

    def holders(self) -> dict[int, frozenset[int]]:
        # Files do not tell who locked them; nobody shares sessions out on one machine.
        return {number: frozenset({self.me}) for number in self._files}

    def close(self) -> None:
        for number in list(self._files):
            self.give_back(number)

    def _try(self, number: int, how: int) -> bool:
        with self._mutex:
            if number in self._files:
                return True
            # Never deleted: a process may hold the lock of a file that is gone, and another that
            # of the new one.
            path = self._database.with_name(f"{self._database.name}.lock-{number}")
            try:
                file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            except OSError:
                return False
            try:
                fcntl.flock(file, how | fcntl.LOCK_NB)
            except OSError:
                os.close(file)
                return False
            self._files[number] = file
            return True
