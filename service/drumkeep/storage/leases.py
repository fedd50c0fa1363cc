"""Who runs what there must be one of, on record; the lock that makes it so is in ``locks.py``."""

from datetime import datetime, timedelta
from typing import Final

from drumkeep.storage.tables.leases import Lease
from drumkeep.storage.transaction import Tx

SCHEDULE: Final = "scheduler"
"""Names the lease of the one process that runs the jobs."""


def take(tx: Tx, *, name: str, holder: str, now: datetime, length: timedelta) -> None:
    """Take or renew a lease, whoever had it: the lock is ours."""
    lease = tx.session.get(Lease, name)
    if lease is None:
        tx.session.add(Lease(name=name, holder=holder, until=now + length))
        return
    if lease.until <= now:
        lease.resumed_at = now
    lease.holder, lease.until = holder, now + length
    tx.session.add(lease)


def held(tx: Tx, *, name: str, holder: str) -> bool:
    """Whether nobody has taken the lease since this one did."""
    lease = tx.session.get(Lease, name)
    return lease is not None and lease.holder == holder


def resumed_at(tx: Tx, *, name: str) -> datetime | None:
    """Return when a lease was last taken after nobody had held it; None if that never was."""
    lease = tx.session.get(Lease, name)
    return None if lease is None else lease.resumed_at


def until(tx: Tx, *, name: str) -> datetime | None:
    """Return until when a lease was last held; None if nobody ever did."""
    lease = tx.session.get(Lease, name)
    return None if lease is None else lease.until


def release(tx: Tx, *, name: str, holder: str, now: datetime) -> None:
    """Say that nobody holds the lease from now on, if it is still held."""
    lease = tx.session.get(Lease, name)
    if lease is not None and lease.holder == holder:
        lease.until = now
        tx.session.add(lease)
