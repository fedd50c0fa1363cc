"""Which jobs fail, on record, so that processes that run none can tell."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import col, delete, select

from drumkeep.storage.tables.job_faults import JobFault
from drumkeep.storage.transaction import Tx


def note(tx: Tx, *, job: str, now: datetime) -> None:
    """Note that a job failed; since when stays as it was."""
    if tx.session.get(JobFault, job) is None:
        tx.session.add(JobFault(job=job, since=now))


def clear(tx: Tx, *, job: str) -> None:
    """Note that a job ended well."""
    tx.session.exec(delete(JobFault).where(col(JobFault.job) == job))


def standing(tx: Tx) -> Sequence[JobFault]:
    """Return what fails, the longest first."""
    return tx.session.exec(select(JobFault).order_by(col(JobFault.since), col(JobFault.job))).all()
