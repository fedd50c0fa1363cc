"""Queries on alarms."""

from collections.abc import Sequence

from sqlmodel import col, func, select

from drumkeep.domain.alarms import WAITING
from drumkeep.storage.tables.alarms import Alarm, AlarmEntry
from drumkeep.storage.transaction import Tx


def open_alarms(tx: Tx) -> Sequence[Alarm]:
    """Return every alarm that is not back to normal, oldest first."""
    return tx.session.exec(
        select(Alarm).where(col(Alarm.open_cause).is_not(None)).order_by(col(Alarm.raised_at))
    ).all()


def count_waiting(tx: Tx) -> int:
    """Count the alarms that nobody has acknowledged."""
    waiting = select(func.count()).select_from(Alarm).where(col(Alarm.state).in_(WAITING))
    return tx.session.exec(waiting).one()


def alarm(tx: Tx, *, alarm_id: str) -> Alarm | None:
    """Return one alarm."""
    return tx.session.get(Alarm, alarm_id)


def list_alarms(
    tx: Tx, *, state: str | None = None, before: str | None = None, limit: int = 200
) -> Sequence[Alarm]:
    """Return alarms, newest first, past the one whose id is ``before``."""
    statement = select(Alarm).order_by(col(Alarm.raised_at).desc(), col(Alarm.id).desc())
    if state is not None:
        statement = statement.where(Alarm.state == state)
    if before is not None:
        last = alarm(tx, alarm_id=before)
        if last is not None:
            statement = statement.where(
                (col(Alarm.raised_at) < last.raised_at)
                | ((col(Alarm.raised_at) == last.raised_at) & (col(Alarm.id) < last.id))
            )
    return tx.session.exec(statement.limit(limit)).all()


def history(tx: Tx, *, alarm_ids: Sequence[str]) -> dict[str, list[AlarmEntry]]:
    """Return the changes of alarms by alarm id, oldest first."""
    found: dict[str, list[AlarmEntry]] = {alarm_id: [] for alarm_id in alarm_ids}
    rows = tx.session.exec(
        select(AlarmEntry)
        .where(col(AlarmEntry.alarm_id).in_(alarm_ids))
        .order_by(col(AlarmEntry.id))
    ).all()
    for row in rows:
        found[row.alarm_id].append(row)
    return found


def add(tx: Tx, row: Alarm | AlarmEntry) -> None:
    """Store an alarm or a change of one."""
    tx.session.add(row)
    tx.session.flush()  # an entry refers to its alarm


def unpublished(tx: Tx, *, limit: int = 200) -> Sequence[Alarm]:
    """Return alarms whose newest state has not been published."""
    return tx.session.exec(
        select(Alarm)
        .where(col(Alarm.published).is_(False))
        .order_by(col(Alarm.changed_at))
        .limit(limit)
    ).all()
