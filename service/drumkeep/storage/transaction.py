"""The only commit in the code base.

A request, a batch of messages or a job is one transaction: everything it writes is stored, or none
of it. Inner code is handed a :class:`Tx` and never commits; it may flush.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Engine
from sqlalchemy.exc import (
    DataError,
    IntegrityError,
    InterfaceError,
    InternalError,
    OperationalError,
    ProgrammingError,
    SQLAlchemyError,
)
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlmodel import Session

from drumkeep.domain.audit import Change
from drumkeep.errors import Conflict, Fault, Invalid, Unavailable
from drumkeep.storage import audit_trail, room
from drumkeep.storage.engine import READ_ONLY

_GUARD: Final = "drumkeep_guard"


@dataclass(frozen=True)
class Tx:
    """One open transaction.

    Attributes
    ----------
    session
        What storage queries with. Code outside of storage passes the Tx on and leaves it alone.
    """

    session: Session
    _after: list[Callable[[], None]] = field(default_factory=list, repr=False)

    def after_commit(self, call: Callable[[], None]) -> None:
        """Have something done once all of this is stored, and not at all when it is not.

        For telling others (open pages, a broker) what changed. The call must not raise: by then
        there is nothing left to undo.
        """
        self._after.append(call)

    def call_deed(self, words: str) -> None:
        """Say what is done here, where the rows alone do not tell; who does it is on record."""
        trail = audit_trail.trail_of(self.session)
        if trail is not None:
            trail.did = words

    def note_deed(self, words: str, *, kind: str, thing: str, **fields: Change) -> None:
        """Put a deed on record that leaves no rows of its own, with fields before and after."""
        trail = audit_trail.trail_of(self.session)
        if trail is not None:
            trail.noted.append((kind, thing, words, fields))


@contextmanager
def transaction(engine: Engine) -> Iterator[Tx]:
    """Open a transaction that may write; commit at the end, roll back on any error.

    Where somebody is behind it (:func:`audit_trail.acting`), what changed is put on record in it.

    It takes the write lock at once (SQLite: ``BEGIN IMMEDIATE``; PostgreSQL: an advisory lock), so
    that what was read before a write is still true when it is written; a second writer waits 5 s.

    Raises
    ------
    Unavailable
        The database is locked, full or away.
    Conflict
        A constraint refused the rows: somebody else stored the same thing first.
    Invalid
        The database cannot hold a value at all.
    """
    with _seam(writing=engine), Session(engine, expire_on_commit=False) as session:
        tx = Tx(session)
        session.connection()  # begin now: without a statement there would be no lock
        guard = engine.get_execution_options().get(_GUARD)
        if guard is not None:
            guard(tx)
        trail = audit_trail.follow(session)
        yield tx
        if trail is not None:
            session.flush()
            trail.settle(session)
        session.commit()
    for call in tx._after:  # noqa: SLF001 - ours
        call()


def guarded(engine: Engine, guard: Callable[[Tx], None]) -> Engine:
    """Return the engine as it is for those who may not write at any time.

    Parameters
    ----------
    guard
        Called at the beginning of every transaction that may write, when nobody else can; raises
        if this one may not.
    """
    return engine.execution_options(**{_GUARD: guard})


@contextmanager
def reading(engine: Engine) -> Iterator[Tx]:
    """Open a transaction that sees one state of the database and cannot write.

    It waits for no writer and holds none up.

    Raises
    ------
    Unavailable
        The database is locked, full or away.
    """
    read_only = engine.execution_options(**{READ_ONLY: True})
    with _seam(), Session(read_only, expire_on_commit=False, autoflush=False) as session:
        # Closing lets go of what was read as it is; a rollback would first empty the rows.
        yield Tx(session)


_FULL: Final = ("53100", "database or disk is full")
"""PostgreSQL's code and SQLite's words for a full disk."""


def begin(tx: Tx) -> None:
    """Begin now and not with the first query, to see whether the database is there.

    Raises
    ------
    Unavailable
        It is away.
    """
    with _seam():
        tx.session.connection()


_NOT_SET_UP: Final = {"42P01", "42703", "42501"}
"""PostgreSQL's codes of a table or column that is not there, and of one that we may not touch."""

_OTHER_TABLES: Final = re.compile(r"no such (table|column)|has no column")
"""As SQLite says the same."""

_NOT_OURS: Final = "The database is not set up for this version of the program."


@contextmanager
def _seam(*, writing: Engine | None = None) -> Iterator[None]:
    """Turn the driver's errors into ours, and note where there is no room for what is written."""
    try:
        yield
    except IntegrityError as error:
        raise Conflict(
            "What was sent does not fit what is stored.",
            [
                Fault(
                    "",
                    None,
                    "clashes with something stored at the same moment",
                    "Read it again and repeat the change if it is still wanted.",
                )
            ],
        ) from error
    except DataError as error:
        raise Invalid(
            "The database cannot hold what was sent.",
            [Fault("", None, f"cannot be stored: {error.orig}", "Change it and send it again.")],
        ) from error
    # InternalError: PostgreSQL's word for a write in a transaction that only reads.
    except (OperationalError, InterfaceError, InternalError, PoolTimeoutError) as error:
        if writing is not None and _is_full(error):
            room.note_full(writing)
            raise Unavailable(room.WORDS) from error
        if _OTHER_TABLES.search(str(error.orig) if isinstance(error, OperationalError) else ""):
            raise Unavailable(_NOT_OURS) from error
        raise Unavailable(
            "The database cannot be reached or is busy. Nothing was stored; try again."
        ) from error
    except ProgrammingError as error:
        if getattr(error.orig, "sqlstate", None) not in _NOT_SET_UP:
            raise
        raise Unavailable(_NOT_OURS) from error


def _is_full(error: SQLAlchemyError) -> bool:
    original = getattr(error, "orig", None)
    return getattr(original, "sqlstate", None) in _FULL or str(original) in _FULL
