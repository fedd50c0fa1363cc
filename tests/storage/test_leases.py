"""Who runs the jobs is on record, and since when nobody did."""

from datetime import timedelta

import pytest

from drumkeep.storage import leases
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores

LENGTH = timedelta(minutes=30)


def take(depot, holder, hours, name="thing"):
    with depot.writing() as tx:
        leases.take(tx, name=name, holder=holder, now=at(hours), length=LENGTH)


def holder_of(depot, *, name="thing"):
    with depot.looking() as tx:
        return [one for one in ("one", "two") if leases.held(tx, name=name, holder=one)]


def resumed_at(depot):
    with depot.looking() as tx:
        return leases.resumed_at(tx, name="thing")


def test_whoever_took_it_last_holds_it(depot):
    assert holder_of(depot) == []
    take(depot, "one", 0.0)
    assert holder_of(depot) == ["one"]
    take(depot, "two", 0.1)
    assert holder_of(depot) == ["two"]


def test_leases_of_different_names_have_nothing_to_do_with_one_another(depot):
    take(depot, "one", 0.0)
    take(depot, "two", 0.0, name="other")
    assert (holder_of(depot), holder_of(depot, name="other")) == (["one"], ["two"])


def test_when_somebody_took_it_after_nobody_had_held_it(depot):
    assert resumed_at(depot) is None
    take(depot, "one", 0.0)
    take(depot, "one", 0.4)
    take(depot, "two", 0.6)  # another took over: nothing was missed
    assert resumed_at(depot) is None
    take(depot, "one", 1.2)  # too late: it was nobody's meanwhile
    take(depot, "one", 1.4)
    assert resumed_at(depot) == at(1.2)


def test_only_its_holder_leaves_it(depot):
    take(depot, "one", 0.0)
    with depot.writing() as tx:
        leases.release(tx, name="thing", holder="two", now=at(0.1))
        leases.release(tx, name="nothing", holder="one", now=at(0.1))
    take(depot, "two", 0.2)
    assert resumed_at(depot) is None

    with depot.writing() as tx:
        leases.release(tx, name="thing", holder="two", now=at(0.3))
    take(depot, "one", 0.4)
    assert resumed_at(depot) == at(0.4)
