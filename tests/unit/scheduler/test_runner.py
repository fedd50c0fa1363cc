"""The jobs run by themselves, each on its own, in the one process that holds the lease."""

import threading
import time

import pytest

from drumkeep.errors import Unavailable
from drumkeep.scheduler.jobs import JOBS, Job, advancing
from drumkeep.scheduler.runner import Runner
from drumkeep.storage import job_faults
from drumkeep.storage.locks import SCHEDULE, locks_of
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]

PATIENCE_S = 20.0


class Counted:
    """A job that counts its runs."""

    def __init__(self, name, *, every_s=0.05, error=None, takes_s=0.0):
        self.runs = 0
        self.together = 0
        self.at_once = 0
        self.nows = []
        self._error = error
        self._takes_s = takes_s
        self.job = Job(name, self, every_s=every_s)

    def mend(self):
        self._error = None

    def __call__(self, _engine, now):
        self.runs += 1
        self.nows.append(now)
        self.together += 1
        self.at_once = max(self.at_once, self.together)
        time.sleep(self._takes_s)
        self.together -= 1
        if self._error is not None:
            raise self._error


def wait_until(met, what):
    deadline = time.monotonic() + PATIENCE_S
    while not met():
        assert time.monotonic() < deadline, f"it never came that {what}"
        time.sleep(0.01)


@pytest.fixture
def running(depot):
    """Start runners on the depot; they are stopped at the end."""
    started = []

    def start(*jobs):
        runner = Runner(depot.engine, jobs=[counted.job for counted in jobs])
        runner.start()
        started.append(runner)
        return runner

    yield start
    for runner in started:
        if runner._scheduler.running:
            runner.stop()


@pytest.mark.parametrize("error", [ZeroDivisionError("a defect"), Unavailable("locked")])
def test_a_job_that_fails_stops_neither_itself_nor_the_others(running, caplog, error):
    failing, well = Counted("failing", error=error), Counted("well")

    runner = running(failing, well)
    wait_until(lambda: failing.runs > 2 and well.runs > 2, "both ran again")

    assert runner.gauges()["drumkeep_schedule_jobs_failing"]() == 1.0
    assert runner.seconds_since("failing") is None
    assert runner.seconds_since("well") < PATIENCE_S
    assert str(error) in caplog.text


def test_that_a_job_fails_is_on_record_until_it_ends_well(depot, running):
    def faults():
        with depot.looking() as tx:
            return [(fault.job, fault.since) for fault in job_faults.standing(tx)]

    with depot.writing() as tx:  # by a process that ended since
        job_faults.note(tx, job="mended", now=at(-1.0))
    failing, mended = Counted("failing", error=ZeroDivisionError("a defect")), Counted("mended")

    running(failing, mended)
    wait_until(lambda: [job for job, _ in faults()] == ["failing"], "one is on record")
    (before,) = faults()
    runs = failing.runs
    wait_until(lambda: failing.runs > runs + 2, "it failed again")
    assert faults() == [before]

    failing.mend()
    wait_until(lambda: faults() == [], "nothing fails")


def test_of_two_runners_one_works_and_the_other_takes_over(running):
    mine, theirs = Counted("mine"), Counted("theirs")
    first = running(mine)
    running(theirs)
    wait_until(lambda: mine.runs > 3, "the first worked")
    assert theirs.runs == 0

    first.stop()
    stopped_at = mine.runs
    wait_until(lambda: theirs.runs > 3, "the second took over")

    assert mine.runs == stopped_at


def test_a_runner_whose_lease_another_holds_runs_nothing_and_says_so(depot, running):
    another = locks_of(depot.engine)
    assert another.take(SCHEDULE)
    counted = Counted("idle", every_s=0.02)

    runner = running(counted)
    time.sleep(1.0)

    assert counted.runs == 0
    assert runner.gauges()["drumkeep_schedule_lease_held"]() == 0.0
    another.close()


def test_a_job_never_overlaps_itself_and_missed_runs_are_made_up_once(running):
    slow, quick = Counted("slow", every_s=0.02, takes_s=0.3), Counted("quick")

    running(slow, quick)
    wait_until(lambda: quick.runs > slow.runs > 2, "the quick job ran past the slow one")

    assert slow.at_once == 1


def test_stopping_waits_for_the_job_that_runs(depot):
    begun, may_end = threading.Event(), threading.Event()

    def long(_engine, _now):
        begun.set()
        may_end.wait(PATIENCE_S)
        ended.append(True)

    ended: list[bool] = []
    runner = Runner(depot.engine, jobs=[Job("long", long, every_s=1.0)])
    runner.start()
    assert begun.wait(PATIENCE_S)

    stopper = threading.Thread(target=runner.stop)
    stopper.start()
    assert not ended
    may_end.set()
    stopper.join(PATIENCE_S)

    assert ended


def test_jobs_are_given_the_time_of_the_clock(depot):
    counted = Counted("told")
    runner = Runner(depot.engine, jobs=[counted.job], clock=lambda: at(5.0))
    runner.start()
    wait_until(lambda: counted.runs > 0, "it ran")
    runner.stop()

    assert set(counted.nows) == {at(5.0)}


def test_the_table_of_jobs_has_each_once():
    assert [job.name for job in (advancing(), *JOBS)] == [
        "advance",
        "alarms",
        "hours",
        "room",
        "air",
        "films",
        "strays",
        "thin",
        "photos",
    ]
