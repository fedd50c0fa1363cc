"""One process at a time runs the jobs."""

from datetime import timedelta

import pytest

from drumkeep.scheduler.lease import LENGTH, RENEW_S, RunnerLease
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]


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
    return RunnerLease(depot.engine, clock=clock), RunnerLease(depot.engine, clock=clock)


def test_of_two_one_holds_the_lease_and_keeps_it_by_renewing(two, clock):
    first, second = two
    first.renew()
    second.renew()
    assert (first.held, second.held) == (True, False)

    for _ in range(5):
        clock.now += LENGTH * 0.9
        first.renew()
        second.renew()
        assert (first.held, second.held) == (True, False)


def test_a_lease_given_back_is_free_at_once(two):
    first, second = two
    first.renew()
    first.release()
    second.renew()

    assert (first.held, second.held) == (False, True)
    first.release()  # again is no harm, nor takes it from the other
    first.renew()
    assert (first.held, second.held) == (False, True)


def test_a_lease_that_is_not_renewed_passes_on_and_its_holder_learns_of_it(two, clock):
    first, second = two
    first.renew()
    clock.now += LENGTH + timedelta(seconds=1)
    second.renew()
    assert second.held

    first.renew()
    assert (first.held, second.held) == (False, True)


def test_a_holder_that_cannot_reach_the_database_stops_before_its_lease_is_over(depot, clock):
    lease = RunnerLease(depot.engine, clock=clock)
    lease.renew()

    good_for = lease._good_until
    with depot.writing() as tx:
        tx.session.connection().exec_driver_sql("ALTER TABLE lease RENAME TO gone")
    lease.renew()  # tells it in the log, and raises nothing

    assert lease._good_until == good_for
    assert RENEW_S < 0.8 * LENGTH.total_seconds() < LENGTH.total_seconds()
