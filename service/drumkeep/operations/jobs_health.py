"""Whether what runs by itself does: told at /ready and, once it lasts, on every page."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from drumkeep.storage import job_faults, leases
from drumkeep.storage.transaction import Tx

LASTS: Final = timedelta(minutes=5)
"""People are told of what lasts so long: a job is tried again, and mostly comes right."""

COMPUTING: Final = frozenset({"advance", "alarms"})
TELLING: Final = frozenset({"notices", "announce"})


@dataclass(frozen=True)
class JobsHealth:
    """Which jobs fail and since when, the longest first; since when nobody runs any, else None."""

    failing: tuple[tuple[str, datetime], ...] = ()
    unattended_since: datetime | None = None

    def since(self, jobs: frozenset[str]) -> datetime | None:
        """Return since when some of these jobs fails; None if none does."""
        return min((since for job, since in self.failing if job in jobs), default=None)

    @property
    def computing_since(self) -> datetime | None:
        """Since when drums may not be computed, or alarms not looked at; None while they are."""
        return self.unattended_since or self.since(COMPUTING)

    @property
    def telling_since(self) -> datetime | None:
        """Since when notices may not be sent; None while they are."""
        return self.since(TELLING)

    @property
    def upkeep(self) -> tuple[str, ...]:
        """Other jobs that fail: nobody misses anything of them yet."""
        return tuple(job for job, _ in self.failing if job not in COMPUTING | TELLING)


def jobs_health(tx: Tx, *, now: datetime, lasting: timedelta = timedelta(0)) -> JobsHealth:
    """Return which jobs fail for at least so long; and whether anybody runs them.

    A database on which jobs never ran says nothing of it.
    """
    over = leases.until(tx, name=leases.SCHEDULE)
    return JobsHealth(
        failing=tuple(
            (fault.job, fault.since)
            for fault in job_faults.standing(tx)
            if now - fault.since >= lasting
        ),
        unattended_since=over if over is not None and now - over >= LASTS else None,
    )
