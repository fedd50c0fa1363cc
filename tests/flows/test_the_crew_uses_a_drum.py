"""A crew takes a drum: asks whether it may open it, uses some, and puts a slip right."""

import pytest

from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.roles import Role
from drumkeep.errors import Refused
from drumkeep.operations.drums import By
from drumkeep.operations.products import change_product
from tests.fixtures.depot import depot, empty_depot, steady

__all__ = ["depot", "empty_depot"]

# An own slip is told by the account; without one (an integration's token) it is nobody's own.
CRIS = By(name="Cris", role=Role.CREW, account_id=None)


@pytest.fixture
def warm(depot):
    """Give a depot in which all air has been warm for days."""
    air = {p: steady(25.0, first_h=-60.0, last_h=12.0) for p in ("dock", "hall", "room", "van")}
    depot.send(air, now=12.0)
    return depot


def answer(depot, tag):
    return depot.estimate(tag).verdicts["from_20"]["answer"]


def test_the_drum_is_opened_kept_dry_weighed_back_and_emptied(warm):
    tag = warm.receive("hall", 0.0, liquid_c=25.0)
    warm.advance(0.25)
    assert answer(warm, tag) == "READY"

    # Opened with nothing on top: after an hour somebody is told.
    warm.record(tag, "opened", 1.0, by=CRIS)
    warm.advance(1.9)
    assert not [a for a in warm.alarms() if a.kind == AlarmKind.BLANKET_MISSING]
    warm.advance(2.1)
    (bare,) = [a for a in warm.alarms() if a.kind == AlarmKind.BLANKET_MISSING]
    assert (bare.drums, bare.audience) == ([tag], ["crew", "manager"])
    warm.record(tag, "blanketed", 2.2, gas="nitrogen", kpa=14.0, by=CRIS)
    warm.advance(2.3)
    (bare,) = [a for a in warm.alarms() if a.kind == AlarmKind.BLANKET_MISSING]
    assert bare.state == AlarmState.RETURNED_UNACKNOWLEDGED
    assert warm.estimate(tag).pressure_kpa == pytest.approx(14.0, abs=0.5)

    # Used in part, weighed back, and used up; then it is out of the list and can do nothing more.
    warm.record(tag, "weighed", 4.0, gross_kg=118.1, resolution_kg=0.5, by=CRIS)
    assert warm.drum(tag).net_kg == pytest.approx(100.0)
    warm.record(tag, "emptied", 6.0, by=CRIS)
    assert (warm.drum(tag).ended, warm.drum(tag).net_kg) == ("emptied", 0.0)
    warm.check_all(6.0)


def test_a_bulged_drum_is_left_alone_until_a_manager_releases_it(warm):
    tag = warm.receive("hall", 0.0, side="resin", liquid_c=25.0)
    warm.record(tag, "inspected", 1.0, bulge="seen", by=CRIS)
    assert answer(warm, tag) == "DO NOT OPEN"
    assert warm.estimate(tag).readiness == "on_hold"

    warm.record(tag, "inspected", 3.0, bulge="none", by=CRIS)
    assert answer(warm, tag) == "DO NOT OPEN"  # a look alone does not end it
    with pytest.raises(Refused):
        warm.record(tag, "released", 3.1, reason="it went back", by=CRIS)

    warm.record(tag, "released", 3.2, reason="it went back")
    assert "bulged" not in warm.estimate(tag).conditions
    assert answer(warm, tag) == "READY"


def test_resin_that_must_be_agitated_is_ready_only_once_it_is(warm):
    with warm.writing() as tx:
        change_product(tx, code="resin", changes={"limits": {"agitate_before_use_min": 30.0}})
    tag = warm.receive("hall", 0.0, side="resin", liquid_c=25.0)
    assert answer(warm, tag) == "NOT YET"

    warm.record(tag, "agitated", 1.0, minutes=20.0, by=CRIS)
    assert answer(warm, tag) == "NOT YET"
    warm.record(tag, "agitated", 2.0, minutes=30.0, by=CRIS)
    assert answer(warm, tag) == "READY"
