"""Runs the jobs while this process holds the lease."""

import logging
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from math import nan
from typing import Final

from apscheduler.schedulers.background import BackgroundScheduler

from drumkeep.errors import DrumkeepError
from drumkeep.scheduler.jobs import Job
from drumkeep.scheduler.lease import RunnerLease
from drumkeep.storage import job_faults
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import transaction

_LOG: Final = logging.getLogger(__name__)
_STAGGER_S: Final = 0.5


def system_clock() -> datetime:
    """Read the clock: the only place where a job does."""
    return datetime.now(UTC)  # noqa: TID251 - the edge


class Runner:
    """The scheduler as a part of the service, in threads of its own.

    Runs that were missed are made up once, never several times, and no job overlaps itself.

    Parameters
    ----------
    engine
        What jobs work on.
    jobs
        The table of jobs.
    clock
        Reads the time.
    """

    def __init__(
        self,
        engine: Engine,
        *,
        jobs: Sequence[Job],
        clock: Callable[[], datetime] = system_clock,
    ) -> None:
        self._jobs = jobs
        self._clock = clock
        self._lease = RunnerLease(engine, clock=clock)
        self._engine = self._lease.engine
        self._last: dict[str, float] = {}
        self._failing: set[str] = set()
        self._on_record: dict[str, bool] = {}
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )

    def start(self) -> None:
        """Begin to run jobs as soon as the lease is held."""
        self._lease.start()
        soon = system_clock()  # by which the library waits, whatever the jobs are told
        for index, job in enumerate(self._jobs):
            self._scheduler.add_job(
                self._run,
                "interval",
                args=[job],
                seconds=job.every_s,
                id=job.name,
                next_run_time=soon + timedelta(seconds=_STAGGER_S * (index + 1)),
            )
        self._scheduler.start()

    def stop(self) -> None:
        """Finish the jobs that run, then give the lease back."""
        self._scheduler.shutdown(wait=True)
        self._lease.release()

    def seconds_since(self, name: str) -> float | None:
        """Return how long ago a job last ended well; None where it has not yet."""
        last = self._last.get(name)
        return None if last is None else time.monotonic() - last

    def gauges(self) -> dict[str, Callable[[], float]]:
        """Return figures for operations, each read when asked for; NaN for "not yet"."""

        def age(name: str) -> Callable[[], float]:
            return lambda: seconds if (seconds := self.seconds_since(name)) is not None else nan

        return {
            "drumkeep_schedule_lease_held": lambda: float(self._lease.held),
            "drumkeep_schedule_jobs_failing": lambda: float(len(self._failing)),
            "drumkeep_schedule_seconds_since_advance": age("advance"),
            "drumkeep_schedule_seconds_since_alarms": age("alarms"),
        }

    def _run(self, job: Job) -> None:
        if not self._lease.held:
            return
        try:
            job.run(self._engine, self._clock())
        except DrumkeepError as error:
            _LOG.warning("job %s: %s", job.name, error)
            self._failing.add(job.name)
        except Exception:  # noqa: BLE001
            # a defect in one job must not end the others, nor its own next run
            _LOG.exception("job %s", job.name)
            self._failing.add(job.name)
        else:
            self._last[job.name] = time.monotonic()
            self._failing.discard(job.name)
        self._put_on_record(job.name, fails=job.name in self._failing)

    def _put_on_record(self, job: str, *, fails: bool) -> None:
        """Have it on record whether a job fails, for who looks elsewhere, when that changes."""
        if self._on_record.get(job) is fails:
            return
        try:
            with transaction(self._engine) as tx:
                if fails:
                    job_faults.note(tx, job=job, now=self._clock())
                else:
                    job_faults.clear(tx, job=job)
        except DrumkeepError as error:
            _LOG.warning("how job %s went was not put on record: %s", job, error)
        else:
            self._on_record[job] = fails
