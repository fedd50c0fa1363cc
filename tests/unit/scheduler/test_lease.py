"""One process at a time runs the jobs."""

import time
from datetime import timedelta

import pytest

from drumkeep.errors import Unavailable
from drumkeep.scheduler.lease import LENGTH, RENEW_S, RunnerLease
from drumkeep.storage import leases
from drumkeep.storage.locks import SCHEDULE
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores


class Clock:
    """A clock moved by hand."""

    def __init__(self):
        self.now = at(0.0)

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def two(depot, clock):
    both = RunnerLease(depot.engine, clock=clock), RunnerLease(depot.engine, clock=clock)
    yield both
    for lease in both:
        lease.release()


def test_of_two_one_holds_the_lease_and_keeps_it(two, clock):
    first, second = two
    for _ in range(5):
        first.look()
        second.look()
        assert (first.held, second.held) == (True, False)
        clock.now += LENGTH * 2  # a clock that runs away takes nothing from anybody


def test_a_lease_given_back_is_free_at_once(two):
    first, second = two
    first.look()
    first.release()
    second.look()

    assert (first.held, second.held) == (False, True)
    first.release()  # again is no harm, nor takes it from the other
    first.look()
    assert (first.held, second.held) == (False, True)


def test_who_takes_over_within_the_length_of_a_lease_has_missed_nothing(depot, two, clock):
    def resumed_at():
        with depot.looking() as tx:
            return leases.resumed_at(tx, name=leases.SCHEDULE)

    first, second = two
    first.look()
    first._locks.close()  # as the end of its process does
    clock.now += timedelta(seconds=2)
    second.look()
    assert second.held
    assert resumed_at() is None

    second._locks.close()
    clock.now += LENGTH + timedelta(seconds=1)
    first.look()
    assert first.held
    assert resumed_at() == clock.now


def test_who_lost_the_lease_within_a_job_writes_nothing_more(two):
    first, second = two
    first.look()
    with transaction(first.engine) as tx:  # a job, that may write
        assert leases.held(tx, name=leases.SCHEDULE, holder=first._holder)
    first._locks.close()
    second.look()

    with (
        pytest.raises(Unavailable, match="Another process runs the jobs now"),
        transaction(first.engine),
    ):
        pytest.fail("it may not write")
    with reading(first.engine) as tx:  # no harm in that
        assert leases.held(tx, name=leases.SCHEDULE, holder=second._holder)
    with transaction(second.engine):
        pass


def test_a_holder_that_cannot_put_it_on_record_runs_nothing(depot, clock):
    lease = RunnerLease(depot.engine, clock=clock)
    with depot.writing() as tx:
        tx.session.connection().exec_driver_sql("ALTER TABLE lease RENAME TO gone")
    lease.look()  # tells it in the log, and raises nothing
    assert lease._locks.holds(SCHEDULE)
    assert not lease.held

    with depot.writing() as tx:
        tx.session.connection().exec_driver_sql("ALTER TABLE gone RENAME TO lease")
    lease.look()
    assert lease.held
    lease.release()


def test_it_is_looked_after_by_itself(two):
    first, second = two
    for lease in two:
        lease.start()
    assert (first.held, second.held) == (True, False)

    begun = time.monotonic()
    first.release()
    while not second.held:
        assert time.monotonic() < begun + 10.0, "the second never took over"
        time.sleep(0.01)

    assert time.monotonic() - begun < 1.5
    assert not first._thread.is_alive()
    assert LENGTH.total_seconds() > 2 * RENEW_S
