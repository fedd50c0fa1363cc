"""A few numbers that change whenever something that pages show has."""

from sqlalchemy import func
from sqlmodel import col, select

from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import Tx

Pulse = tuple[object, ...]


def pulse(tx: Tx) -> Pulse:
    """Return them; equal pulses mean that nothing has changed."""
    session = tx.session
    return (
        session.exec(select(func.max(col(Estimate.computed_at)))).one(),
        session.exec(select(func.max(col(Event.seq)))).one(),
        session.exec(select(func.max(col(Alarm.changed_at)))).one(),
    )


def state(tx: Tx) -> Pulse:
    """Return them with whatever people and programs changed besides, such as a place's name."""
    return (*pulse(tx), tx.session.exec(select(func.max(col(AuditEntry.id)))).one())
