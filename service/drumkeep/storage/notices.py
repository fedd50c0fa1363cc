"""Queries on notices and the addresses that they go to."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final, cast

from sqlalchemy import ColumnElement, CursorResult, delete
from sqlmodel import col, func, select

from drumkeep.domain.notices import NoticeState
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from drumkeep.storage.transaction import Tx

_ENDED: Final = (NoticeState.SENT, NoticeState.FAILED, NoticeState.DROPPED)
_OPEN: Final = (NoticeState.WAITING, NoticeState.SENDING)


def add(tx: Tx, row: Notice | NoticeAddress) -> None:
    """Store a new row."""
    tx.session.add(row)
    tx.session.flush()  # the id, and the constraints now rather than at the end


def listeners(tx: Tx) -> list[tuple[NoticeAddress, Account]]:
    """Return every address in use of an account that may sign in, in the order of their making."""
    statement = (
        select(NoticeAddress, Account)
        .join(Account)
        .where(col(NoticeAddress.removed_at).is_(None), col(Account.disabled_at).is_(None))
        .order_by(col(NoticeAddress.id))
    )
    return [(row[0], row[1]) for row in tx.session.exec(statement).all()]


def address(tx: Tx, *, address_id: int) -> NoticeAddress | None:
    """Return an address, removed or not."""
    return tx.session.get(NoticeAddress, address_id)


def addresses_of(tx: Tx, *, account_id: int) -> Sequence[NoticeAddress]:
    """Return the addresses in use of an account, in the order of their making."""
    statement = select(NoticeAddress).where(
        NoticeAddress.account_id == account_id, col(NoticeAddress.removed_at).is_(None)
    )
    return tx.session.exec(statement.order_by(col(NoticeAddress.id))).all()


def owners(tx: Tx, *, address_ids: Sequence[int]) -> dict[int, tuple[NoticeAddress, Account]]:
    """Return addresses and whose they are by the address's id."""
    statement = (
        select(NoticeAddress, Account)
        .join(Account)
        .where(col(NoticeAddress.id).in_(set(address_ids)))
    )
    return {row[0].id: (row[0], row[1]) for row in tx.session.exec(statement).all()}


def notice(tx: Tx, *, notice_id: str) -> Notice | None:
    """Return a notice."""
    return tx.session.get(Notice, notice_id)


def of_alarms(tx: Tx, *, alarm_ids: Sequence[str]) -> dict[str, list[Notice]]:
    """Return the notices of alarms by alarm id, in the order in which they were queued."""
    found: dict[str, list[Notice]] = {alarm_id: [] for alarm_id in alarm_ids}
    rows = tx.session.exec(
        select(Notice)
        .where(col(Notice.alarm_id).in_(alarm_ids))
        .order_by(col(Notice.queued_at), col(Notice.number), col(Notice.address_id))
    ).all()
    for row in rows:
        found[row.alarm_id or ""].append(row)
    return found


def tests_of(tx: Tx, *, address_id: int) -> Sequence[Notice]:
    """Return the tests of an address, newest first."""
    statement = select(Notice).where(
        Notice.address_id == address_id, col(Notice.alarm_id).is_(None)
    )
    return tx.session.exec(statement.order_by(col(Notice.number).desc())).all()


def is_due(tx: Tx, *, now: datetime, claimed_before: datetime) -> bool:
    """Tell whether there is a notice to be sent, or one whose sender has died."""
    statement = select(col(Notice.id)).where(_due(now, claimed_before)).limit(1)
    return tx.session.exec(statement).first() is not None


def due(tx: Tx, *, now: datetime, claimed_before: datetime) -> Sequence[Notice]:
    """Return the notices to be sent, and those whose sender has died, oldest first."""
    statement = select(Notice).where(_due(now, claimed_before))
    return tx.session.exec(statement.order_by(col(Notice.due_at), col(Notice.id))).all()


def busy_addresses(tx: Tx) -> set[int]:
    """Return the addresses to which something is being sent."""
    return set(
        tx.session.exec(select(Notice.address_id).where(Notice.state == NoticeState.SENDING)).all()
    )


def counts(tx: Tx, *, failed_since: datetime) -> tuple[int, datetime | None, int]:
    """Return how many wait, since when the oldest does, and how many were given up lately."""
    waiting, oldest = tx.session.exec(
        select(func.count(), func.min(Notice.queued_at)).where(col(Notice.state).in_(_OPEN))
    ).one()
    failed = tx.session.exec(
        select(func.count()).where(
            Notice.state == NoticeState.FAILED, col(Notice.ended_at) >= failed_since
        )
    ).one()
    return waiting, oldest, failed


def list_notices(
    tx: Tx,
    *,
    alarm_id: str | None = None,
    state: str | None = None,
    account_id: int | None = None,
    before: Notice | None = None,
    limit: int = 200,
) -> Sequence[Notice]:
    """Return notices, newest first, past the one given."""
    statement = select(Notice).order_by(col(Notice.queued_at).desc(), col(Notice.id).desc())
    if alarm_id is not None:
        statement = statement.where(Notice.alarm_id == alarm_id)
    if state is not None:
        statement = statement.where(Notice.state == state)
    if account_id is not None:
        own = select(NoticeAddress.id).where(NoticeAddress.account_id == account_id)
        statement = statement.where(col(Notice.address_id).in_(own))
    if before is not None:
        statement = statement.where(
            (col(Notice.queued_at) < before.queued_at)
            | ((col(Notice.queued_at) == before.queued_at) & (col(Notice.id) < before.id))
        )
    return tx.session.exec(statement.limit(limit)).all()


def forget(tx: Tx, *, before: datetime) -> int:
    """Delete the notices that ended long ago; return how many there were."""
    where = (col(Notice.state).in_(_ENDED), col(Notice.queued_at) < before)
    result = tx.session.execute(delete(Notice).where(*where))
    return cast("CursorResult[None]", result).rowcount


def _due(now: datetime, claimed_before: datetime) -> ColumnElement[bool]:
    waits = (col(Notice.state) == NoticeState.WAITING) & (col(Notice.due_at) <= now)
    dead = (col(Notice.state) == NoticeState.SENDING) & (col(Notice.claimed_at) < claimed_before)
    return waits | dead
