"""A lease has one holder at a time."""

from datetime import timedelta

import pytest

from drumkeep.storage import leases
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores

LENGTH = timedelta(minutes=30)


def take(depot, holder, hours, name="thing"):
    with depot.writing() as tx:
        return leases.take(tx, name=name, holder=holder, now=at(hours), length=LENGTH)


def test_a_lease_is_held_until_it_ends(depot):
    assert take(depot, "one", 0.0)
    assert not take(depot, "two", 0.49)
    assert take(depot, "two", 0.5)
    assert not take(depot, "one", 0.6)


def test_its_holder_renews_it(depot):
    for hours in (0.0, 0.4, 0.8, 1.2):
        assert take(depot, "one", hours)
    assert not take(depot, "two", 1.6)


def test_leases_of_different_names_have_nothing_to_do_with_one_another(depot):
    assert take(depot, "one", 0.0)
    assert take(depot, "two", 0.0, name="other")


def test_only_its_holder_gives_a_lease_back(depot):
    take(depot, "one", 0.0)
    with depot.writing() as tx:
        leases.release(tx, name="thing", holder="two", now=at(0.1))
        leases.release(tx, name="nothing", holder="one", now=at(0.1))
    assert not take(depot, "two", 0.1)

    with depot.writing() as tx:
        leases.release(tx, name="thing", holder="one", now=at(0.2))
    assert take(depot, "two", 0.2)


def test_when_somebody_took_it_after_nobody_had_held_it(depot):
    def resumed_at():
        with depot.looking() as tx:
            return leases.resumed_at(tx, name="thing")

    assert resumed_at() is None
    take(depot, "one", 0.0)
    take(depot, "one", 0.4)
    assert resumed_at() is None
    take(depot, "one", 1.0)  # too late: it was nobody's meanwhile
    take(depot, "one", 1.4)
    assert resumed_at() == at(1.0)
