"""A part of a transaction that can fail alone."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import InterfaceError, OperationalError

from drumkeep.errors import Unavailable
from drumkeep.storage.transaction import Tx


@contextmanager
def savepoint(tx: Tx) -> Iterator[None]:
    """Undo what the part wrote if it fails, and leave the rest of the transaction standing.

    Raises
    ------
    Unavailable
        The database is locked, full or away; the rest can then not go on either.
    """
    try:
        with tx.session.begin_nested():
            yield
    except (OperationalError, InterfaceError) as error:
        raise Unavailable("The database cannot be reached or is busy.") from error


@contextmanager
def undone(tx: Tx) -> Iterator[None]:
    """Undo what the part wrote though it did not fail: to see what would come of it.

    Raises
    ------
    Unavailable
        As in :func:`savepoint`.
    """
    try:
        part = tx.session.begin_nested()
        try:
            yield
        finally:
            part.rollback()
    except (OperationalError, InterfaceError) as error:
        raise Unavailable("The database cannot be reached or is busy.") from error
