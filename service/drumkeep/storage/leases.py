"""Leases: one runner of a thing at a time."""

from datetime import datetime, timedelta

from drumkeep.storage.tables.leases import Lease
from drumkeep.storage.transaction import Tx


def take(tx: Tx, *, name: str, holder: str, now: datetime, length: timedelta) -> bool:
    """Take or renew a lease; False while another holds it."""
    lease = tx.session.get(Lease, name)
    if lease is None:
        tx.session.add(Lease(name=name, holder=holder, until=now + length))
        return True
    if lease.holder != holder and lease.until > now:
        return False
    lease.holder, lease.until = holder, now + length
    tx.session.add(lease)
    return True


def release(tx: Tx, *, name: str, holder: str, now: datetime) -> None:
    """Give a lease back early, if it is still held."""
    lease = tx.session.get(Lease, name)
    if lease is not None and lease.holder == holder:
        lease.until = now
        tx.session.add(lease)
