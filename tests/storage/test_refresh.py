"""What is recorded shows at once, and what reaches far back keeps nobody else waiting."""

import pytest

from drumkeep.domain.grid import step_at
from drumkeep.operations.refresh import AT_ONCE
from tests.fixtures.depot import at, depot, empty_depot, swinging

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores

FAR_H = AT_ONCE.total_seconds() / 3600.0
NOW = FAR_H + 24.0


@pytest.fixture
def aired(depot):
    """Give the depot with air from long before to the present."""
    air = swinging(mean=12.0, by=3.0, first_h=-24.0, last_h=NOW, every_h=1.0)
    depot.send({"hall": dict(air), "van": dict(air)}, now=NOW)
    return depot


def marked(depot, tag):
    return depot.drum(tag).from_ms


def test_a_delivery_entered_days_later_is_computed_with_the_entry(aired):
    tag = aired.receive("hall", NOW - FAR_H + 1.0, recorded=NOW)

    assert aired.estimate(tag).step == step_at(at(NOW))
    assert marked(aired, tag) is None


def test_one_entered_weeks_later_is_left_to_the_scheduler_and_comes_out_the_same(aired):
    tag = aired.receive("hall", NOW - FAR_H - 1.0, recorded=NOW)
    with pytest.raises(AssertionError):
        aired.estimate(tag)
    assert marked(aired, tag) is not None

    aired.advance(NOW)

    assert aired.estimate(tag).step == step_at(at(NOW))
    aired.check_all(NOW)
    assert marked(aired, tag) is None


def test_a_move_of_long_ago_marks_the_drum_and_what_it_was_poured_into(aired):
    donor = aired.receive("hall", 0.0, recorded=1.0)
    receiver = aired.receive("hall", 0.0, recorded=1.0)
    other = aired.receive("hall", 0.0, recorded=1.0)
    aired.record(donor, "opened", 5.0, recorded=5.0)
    aired.record(receiver, "topped", 6.0, recorded=6.0, **{"from": donor, "kg": 10.0})
    aired.advance(NOW)
    assert [marked(aired, tag) for tag in (donor, receiver, other)] == [None] * 3

    aired.record(donor, "moved", 3.0, recorded=NOW, to="van")

    assert None not in {marked(aired, donor), marked(aired, receiver)}
    assert marked(aired, other) is None
    aired.advance(NOW)
    aired.check_all(NOW)
