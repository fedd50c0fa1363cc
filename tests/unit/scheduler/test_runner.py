"""Who runs the jobs, and what a job that fails does to the others."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.scheduler.jobs import Job
from drumkeep.scheduler.lease import LENGTH, RunnerLease
from drumkeep.scheduler.runner import Runner
from drumkeep.storage import leases
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

BEGIN = datetime(2026, 2, 5, 5, tzinfo=UTC)


class Clock:
    """A clock set by hand."""

    def __init__(self) -> None:
        self.now = BEGIN

    def __call__(self) -> datetime:
        return self.now


class Counting:
    """A job that notes each of its runs, and how many of them overlapped."""

    def __init__(self, *, takes_s: float = 0.0, fails: bool = False) -> None:
        self.runs = 0
        self.together = 0
        self._takes_s, self._fails = takes_s, fails
        self._running = threading.Semaphore(1)

    def __call__(self, _engine: Engine, _now: datetime) -> None:
        if not self._running.acquire(blocking=False):
            self.together += 1
            return
        try:
            self.runs += 1
            time.sleep(self._takes_s)
            if self._fails:
                raise ValueError("a defect")
        finally:
            self._running.release()


def wait_for(met: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 10.0
    while not met():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_lease_is_held_by_one_until_it_ends_or_is_given_back(shed: Shed):
    clock = Clock()
    first, second = (RunnerLease(shed.engine, clock=clock) for _ in range(2))

    first.renew()
    second.renew()
    assert (first.held, second.held) == (True, False)

    clock.now += LENGTH + timedelta(seconds=1)  # the first has not renewed: it is thought dead
    second.renew()
    first.renew()
    assert (first.held, second.held) == (False, True)

    second.release()
    first.renew()
    assert (first.held, second.held) == (True, False)


def test_a_lease_knows_since_when_it_is_held_without_a_break(shed: Shed):
    clock = Clock()
    lease = RunnerLease(shed.engine, clock=clock)

    def since() -> datetime | None:
        with reading(shed.engine) as tx:
            return leases.held_since(tx, name=leases.SCHEDULE)

    assert since() is None
    lease.renew()
    clock.now += timedelta(seconds=20)
    lease.renew()
    assert since() == BEGIN

    clock.now += timedelta(hours=5)  # the service was down
    lease.renew()
    assert since() == BEGIN + timedelta(hours=5, seconds=20)


def test_two_runners_run_each_job_once(shed: Shed):
    jobs = [Counting(), Counting()]
    runners = [Runner(shed.engine, jobs=[Job("count", job, every_s=0.05)]) for job in jobs]
    for runner in runners:
        runner.start()
    wait_for(lambda: jobs[0].runs >= 3)
    for runner in runners:
        runner.stop()

    assert jobs[1].runs == 0


def test_a_job_that_fails_stops_neither_the_others_nor_itself(
    shed: Shed, caplog: pytest.LogCaptureFixture
):
    bad, good = Counting(fails=True), Counting()
    table = [Job("bad", bad, every_s=0.05), Job("good", good, every_s=0.05)]
    runner = Runner(shed.engine, jobs=table)
    runner.start()
    wait_for(lambda: bad.runs >= 2 and good.runs >= 2)
    runner.stop()

    assert runner.seconds_since("bad") is None
    assert runner.seconds_since("good") is not None
    assert "job bad" in caplog.text


def test_a_job_that_takes_long_never_overlaps_itself(shed: Shed):
    slow = Counting(takes_s=0.2)
    runner = Runner(shed.engine, jobs=[Job("slow", slow, every_s=0.05)])
    runner.start()
    wait_for(lambda: slow.runs >= 3)
    runner.stop()

    assert slow.together == 0


def test_a_runner_whose_lease_another_holds_runs_nothing_and_says_so(shed: Shed):
    with transaction(shed.engine) as tx:
        now = datetime.now(UTC)  # noqa: TID251 - the runner reads it
        leases.take(
            tx, name=leases.SCHEDULE, holder="another", now=now, length=timedelta(minutes=5)
        )
    job = Counting()
    runner = Runner(shed.engine, jobs=[Job("count", job, every_s=0.02)])
    runner.start()
    time.sleep(1.0)
    runner.stop()

    assert job.runs == 0
    assert runner.gauges()["drumkeep_schedule_lease_held"]() == 0.0
