"""A manager has the drums of a job warm in time: told when to start, and that it is done."""

from datetime import datetime, timedelta

from drumkeep.domain.alarms import AlarmKind, AlarmState
from tests.fixtures.depot import at, depot, empty_depot, steady

__all__ = ["depot", "empty_depot"]

THURSDAY = 60.0


def alarms_of(depot, kind):
    return [a for a in depot.alarms() if a.kind == kind]


def start_by(depot, tag):
    """Hour by which the drum must go into the warm room, as last computed."""
    moment = datetime.fromisoformat(depot.estimate(tag).outlook["start_by"])
    return (moment - at(0.0)) / timedelta(hours=1)


def test_the_manager_is_told_when_to_start_and_the_drums_are_ready_in_time(depot):
    depot.send(
        {
            "dock": steady(12.0, first_h=-60.0, last_h=72.0, every_h=0.5),
            "hall": steady(14.0, first_h=-60.0, last_h=72.0, every_h=0.5),
            "room": steady(27.0, first_h=-60.0, last_h=72.0, every_h=0.5),
            "van": steady(14.0, first_h=-60.0, last_h=72.0, every_h=0.5),
        },
        now=72.0,
    )
    tag = depot.receive("hall", 0.0, liquid_c=14.0)
    depot.want(tag, THURSDAY, now=0.5)
    depot.advance(1.0)

    # In the hall it never gets there; the warm room does, from some hour on.
    assert depot.estimate(tag).outlook["slow_ready_at"] is None
    assert 1.0 < start_by(depot, tag) < THURSDAY
    assert not alarms_of(depot, AlarmKind.WARM_UP)
    assert not alarms_of(depot, AlarmKind.NOT_IN_TIME)

    # Two hours before, the manager is told, with the hour.
    depot.advance(start_by(depot, tag) - 2.5)
    assert not alarms_of(depot, AlarmKind.WARM_UP)
    hours = start_by(depot, tag) - 1.5
    depot.advance(hours)
    (warm_up,) = alarms_of(depot, AlarmKind.WARM_UP)
    assert (warm_up.drums, warm_up.audience) == ([tag], ["manager"])
    assert warm_up.deadline == at(start_by(depot, tag))

    # It is moved, the alarm returns, and half an hour before it is wanted it is ready.
    depot.record(tag, "moved", hours + 1.0, to="room")
    depot.advance(hours + 1.1)
    assert alarms_of(depot, AlarmKind.WARM_UP)[0].state == AlarmState.RETURNED_UNACKNOWLEDGED
    depot.advance(THURSDAY - 0.5)
    assert depot.estimate(tag).readiness == "ready"
    assert not alarms_of(depot, AlarmKind.NOT_IN_TIME)


def test_left_where_it_is_the_drum_is_said_to_be_late_and_missed(depot):
    depot.send(
        {
            place: steady(c, first_h=-60.0, last_h=72.0, every_h=0.5)
            for place, c in (("dock", 12.0), ("hall", 14.0), ("room", 27.0), ("van", 14.0))
        },
        now=72.0,
    )
    tag = depot.receive("hall", 0.0, liquid_c=14.0)
    depot.want(tag, THURSDAY, now=0.5)

    depot.advance(THURSDAY - 1.0)  # long past the hour at which it had to start
    (late,) = alarms_of(depot, AlarmKind.NOT_IN_TIME)
    assert (late.drums, late.deadline) == ([tag], at(THURSDAY))
    assert late.audience == ["manager", "dispatcher"]

    depot.advance(THURSDAY + 0.1)
    assert alarms_of(depot, AlarmKind.NOT_IN_TIME)[0].state == AlarmState.NORMAL
    assert depot.words_of(late)[-1] == "closed as missed"
