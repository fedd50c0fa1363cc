"""Leases: one runner of a thing at a time."""

from datetime import datetime, timedelta
from typing import Final

from drumkeep.storage.tables.leases import Lease
from drumkeep.storage.transaction import Tx

SCHEDULE: Final = "scheduler"
"""Names the lease of the one process that runs the jobs."""


def take(tx: Tx, *, name: str, holder: str, now: datetime, length: timedelta) -> bool:
    """Take or renew a lease; False while another holds it."""
    lease = tx.session.get(Lease, name)
    if lease is None:
        tx.session.add(Lease(name=name, holder=holder, until=now + length))
        return True
    if lease.until <= now:
        lease.resumed_at = now
    elif lease.holder != holder:
        return False
    lease.holder, lease.until = holder, now + length
    tx.session.add(lease)
    return True


def resumed_at(tx: Tx, *, name: str) -> datetime | None:
    """Return when a lease was last taken after nobody had held it; None if that never was."""
    lease = tx.session.get(Lease, name)
    return None if lease is None else lease.resumed_at


def release(tx: Tx, *, name: str, holder: str, now: datetime) -> None:
    """Give a lease back early, if it is still held."""
    lease = tx.session.get(Lease, name)
    if lease is not None and lease.holder == holder:
        lease.until = now
        tx.session.add(lease)
