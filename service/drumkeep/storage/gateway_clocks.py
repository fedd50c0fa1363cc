"""Queries on gateways whose clocks are wrong."""

from datetime import datetime

from sqlalchemy import case, or_, update
from sqlmodel import col

from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import Tx


def note_off(
    tx: Tx, *, gateway_id: int, ahead_s: float, now: datetime, unless_before: datetime
) -> None:
    """Note that a gateway sent a time that was refused; anew, if the last is before a time."""
    anew = or_(col(Gateway.clock_off_at).is_(None), col(Gateway.clock_off_at) < unless_before)
    tx.session.execute(
        update(Gateway)
        .where(col(Gateway.id) == gateway_id)
        .values(
            clock_ahead_s=ahead_s,
            clock_off_at=now,
            clock_off_since=case((anew, now), else_=col(Gateway.clock_off_since)),
        )
    )
