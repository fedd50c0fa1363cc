"""Alarms through the store: raised, amended, acknowledged, shelved and returned, each with words.

Limits, delays and dead bands are those of design.md §5 (common practice, no source).
"""

import pytest

from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.domain.roles import Role
from drumkeep.errors import Conflict, Invalid, NotFound, Refused
from drumkeep.operations.alarms import acknowledge, evaluate_alarms, open_first, shelve
from drumkeep.operations.drums import By
from tests.fixtures.depot import MANAGER, MEASURED, at, depot, empty_depot, steady

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores

DISPATCHER = By(name="Dee", role=Role.DISPATCHER)
CREW = By(name="Cris", role=Role.CREW)


def warm_hall(depot, *, c=30.0, hours=24.0):
    """Send air of all places: a hot hall, nothing wrong elsewhere."""
    air = {place: steady(20.0, first_h=-48.0, last_h=hours) for place in MEASURED}
    depot.send(air | {"hall": steady(c, first_h=-48.0, last_h=hours)}, now=hours)


def only(depot, kind):
    """Return the one alarm of a kind, or None."""
    found = [alarm for alarm in depot.alarms() if alarm.kind == kind]
    assert len(found) <= 1, found
    return found[0] if found else None


def acknowledged(depot, alarm, hours, by=MANAGER):
    with depot.writing() as tx:
        acknowledge(tx, alarm_id=alarm.id, by=by, now=at(hours))


def cooled(depot, tag, hours, fahrenheit):
    """Set the liquid by a dip that leaves no doubt; the grid takes note at its next step."""
    # so far from what was computed that it takes two who say so
    for _ in range(2):
        depot.record(tag, "dipped", hours, c=f(fahrenheit), sigma_k=0.001)


def test_gassing_is_raised_after_half_an_hour_and_not_before(depot):
    warm_hall(depot)
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)

    depot.advance(5 / 12)
    assert only(depot, AlarmKind.GASSING) is None
    depot.advance(8 / 12)

    alarm = only(depot, AlarmKind.GASSING)
    assert (alarm.state, alarm.cause, alarm.drums) == ("unacknowledged", "north/hall", [tag])
    assert (alarm.priority, alarm.audience) == ("medium", ["manager"])
    assert (alarm.raised_at, alarm.place_id) == (at(8 / 12), depot.places["hall"])
    assert depot.words_of(alarm) == ["raised"]


def test_a_cause_ends_only_past_its_dead_band(depot):
    warm_hall(depot, c=f(74.6))
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    alarm = only(depot, AlarmKind.GASSING)

    cooled(depot, tag, 1.1, 74.6)  # on over 75 °F, off under 74 °F
    depot.advance(1.5)
    assert only(depot, AlarmKind.GASSING).state == AlarmState.UNACKNOWLEDGED

    cooled(depot, tag, 1.6, 73.5)
    depot.advance(2.0)
    returned = only(depot, AlarmKind.GASSING)
    assert (returned.id, returned.state) == (alarm.id, AlarmState.RETURNED_UNACKNOWLEDGED)
    assert returned.returned_at == at(2.0)
    assert depot.words_of(alarm) == ["raised", "returned to normal, not acknowledged"]


def test_what_returns_unacknowledged_waits_for_somebody_or_becomes_active_again(depot):
    warm_hall(depot)
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    cooled(depot, tag, 1.1, 65.0)
    depot.advance(1.5)
    alarm = only(depot, AlarmKind.GASSING)
    assert alarm.state == AlarmState.RETURNED_UNACKNOWLEDGED

    cooled(depot, tag, 1.6, 85.0)
    depot.advance(2.5)
    assert only(depot, AlarmKind.GASSING).state == AlarmState.UNACKNOWLEDGED

    cooled(depot, tag, 2.6, 65.0)
    depot.advance(3.0)
    acknowledged(depot, alarm, 3.1)
    closed = only(depot, AlarmKind.GASSING)
    assert (closed.state, closed.open_cause) == (AlarmState.NORMAL, None)
    assert (closed.acknowledged_by, closed.acknowledged_at) == ("Mara", at(3.1))
    assert depot.words_of(alarm) == [
        "raised",
        "returned to normal, not acknowledged",
        "active again",
        "returned to normal, not acknowledged",
        "acknowledged",
    ]


def test_what_was_acknowledged_returns_to_normal_and_the_next_time_is_another_alarm(depot):
    warm_hall(depot)
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    first = only(depot, AlarmKind.GASSING)
    acknowledged(depot, first, 1.0)
    depot.advance(1.1)
    assert only(depot, AlarmKind.GASSING).state == AlarmState.ACKNOWLEDGED

    cooled(depot, tag, 1.2, 65.0)
    depot.advance(1.5)
    assert only(depot, AlarmKind.GASSING).state == AlarmState.NORMAL

    cooled(depot, tag, 1.6, 85.0)
    depot.advance(2.5)
    old, new = (a for a in depot.alarms() if a.kind == AlarmKind.GASSING)
    assert (old.id, old.state) == (first.id, AlarmState.NORMAL)
    assert new.state == AlarmState.UNACKNOWLEDGED


def test_drums_come_under_an_open_alarm_and_leave_it(depot):
    warm_hall(depot)
    one = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    alarm = only(depot, AlarmKind.GASSING)
    acknowledged(depot, alarm, 1.0)

    two = depot.receive("hall", 1.0, side="resin", liquid_c=29.0)
    depot.advance(2.0)
    both = only(depot, AlarmKind.GASSING)
    assert (both.id, both.drums) == (alarm.id, sorted([one, two]))
    assert both.state == AlarmState.ACKNOWLEDGED
    assert "2 resin drums" in both.message

    depot.record(one, "moved", 2.1, to="room")  # no store: a caution there, no alarm
    depot.advance(2.2)
    assert only(depot, AlarmKind.GASSING).drums == [two]
    assert depot.words_of(alarm) == ["raised", "acknowledged", "amended", "amended"]


def test_what_grows_graver_is_announced_again(depot):
    air = {place: steady(20.0, first_h=-48.0, last_h=30.0) for place in MEASURED}
    depot.send(air | {"van": steady(4.0, first_h=-48.0, last_h=30.0)}, now=30.0)
    tag = depot.receive("van", 0.0, liquid_c=17.0)
    depot.advance(0.25)
    alarm = only(depot, AlarmKind.COLD_LOAD)
    assert (alarm.details["phase"], alarm.audience) == ("forecast", ["dispatcher"])
    assert at(0.25) < alarm.deadline < at(12.5)
    acknowledged(depot, alarm, 0.3, by=DISPATCHER)

    depot.advance(3.0)
    now = only(depot, AlarmKind.COLD_LOAD)
    assert (now.id, now.state) == (alarm.id, AlarmState.UNACKNOWLEDGED)
    assert (now.details["phase"], now.deadline, now.acknowledged_by) == ("now", None, None)
    acknowledged(depot, alarm, 3.1, by=DISPATCHER)

    depot.advance(12.0)
    done = only(depot, AlarmKind.COLD_LOAD)
    assert (done.state, done.details["phase"]) == (AlarmState.UNACKNOWLEDGED, "done")
    assert "sat cold" in done.message
    assert depot.words_of(alarm) == ["raised", "acknowledged", "graver", "acknowledged", "graver"]

    # a look that finds nothing after it is warm again ends it; that it was cold stays on the drum
    depot.record(tag, "moved", 12.1, to="room")
    depot.record(tag, "dipped", 28.0, c=20.0, sigma_k=0.01)
    depot.record(tag, "inspected", 28.0, reached_bottom=True, solids="none")
    depot.advance(28.25)
    assert only(depot, AlarmKind.COLD_LOAD).state == AlarmState.RETURNED_UNACKNOWLEDGED
    assert depot.state(tag)["cold_total_steps"][0] >= 24


def test_an_alarm_follows_the_corrected_past_and_is_not_deleted(depot):
    air = {place: steady(20.0, first_h=-48.0, last_h=12.0) for place in MEASURED}
    depot.send(air | {"van": steady(-7.0, first_h=-48.0, last_h=12.0)}, now=12.0)
    tag = depot.receive("hall", 0.0, liquid_c=20.0)
    moved = depot.record(tag, "moved", 0.5, to="van")
    depot.advance(12.0)
    alarm = only(depot, AlarmKind.COLD_LOAD)
    assert alarm.details["phase"] == "done"

    depot.correct(moved, tag, recorded=12.0, void=True)
    depot.advance(12.1)

    assert only(depot, AlarmKind.COLD_LOAD).state == AlarmState.RETURNED_UNACKNOWLEDGED


def test_an_alarm_of_cold_outlasts_the_silence_of_its_sensor(depot):
    air = {place: steady(20.0, first_h=-48.0, last_h=12.0) for place in MEASURED}
    depot.send(air | {"van": steady(2.0, first_h=-48.0, last_h=6.0)}, now=12.0)
    depot.receive("van", 0.0, liquid_c=14.0)
    depot.advance(6.0)
    assert only(depot, AlarmKind.COLD_LOAD).state == AlarmState.UNACKNOWLEDGED

    depot.advance(12.0)

    assert only(depot, AlarmKind.COLD_LOAD).state == AlarmState.UNACKNOWLEDGED
    silent = [a.cause for a in depot.alarms() if a.kind == AlarmKind.SENSOR_SILENT]
    assert silent == ["van"]


def test_a_silent_sensor_is_told_after_three_intervals_and_until_it_speaks(depot):
    warm_hall(depot, c=20.0, hours=6.0)
    tag = depot.receive("van", 0.0, liquid_c=20.0)
    others = {p: steady(20.0, first_h=6.25, last_h=9.0) for p in MEASURED if p != "van"}
    depot.send(others, now=9.0)

    depot.advance(6.75)  # three times 15 minutes
    assert only(depot, AlarmKind.SENSOR_SILENT) is None
    depot.advance(7.0)
    alarm = only(depot, AlarmKind.SENSOR_SILENT)
    assert (alarm.cause, alarm.drums, alarm.audience) == ("van", [tag], ["manager"])

    depot.send({"van": {7.1: 20.0}}, now=7.25)
    depot.advance(7.25)
    assert only(depot, AlarmKind.SENSOR_SILENT).state == AlarmState.RETURNED_UNACKNOWLEDGED


def test_long_names_that_begin_alike_are_causes_of_their_own(depot):
    stem = "urn:dev:os:32473-" + "x" * 142
    for last in "ab":
        depot.hang(stem + last, "nook", 0.0)

    depot.advance(1.0)

    causes = [a.cause for a in depot.alarms() if a.kind == AlarmKind.SENSOR_SILENT]
    assert sorted(c for c in causes if c.startswith(stem)) == [stem + "a", stem + "b"]


# Wanted for a time


def test_drums_that_cannot_be_ready_in_time_are_closed_as_missed(depot):
    warm_hall(depot, c=12.0)
    tag = depot.receive("hall", 0.0, liquid_c=12.0)
    depot.want(tag, 3.0, now=0.25)
    depot.advance(0.3)
    alarm = only(depot, AlarmKind.NOT_IN_TIME)
    assert (alarm.drums, alarm.deadline) == ([tag], at(3.0))
    assert alarm.audience == ["manager", "dispatcher"]

    depot.advance(2.9)
    assert only(depot, AlarmKind.NOT_IN_TIME).state == AlarmState.UNACKNOWLEDGED
    depot.advance(3.1)

    missed = only(depot, AlarmKind.NOT_IN_TIME)
    assert (missed.state, missed.open_cause) == (AlarmState.NORMAL, None)
    assert depot.words_of(alarm) == ["raised", "closed as missed"]


@pytest.mark.parametrize("mend", ["warmed", "withdrawn"])
def test_what_came_right_before_its_time_was_not_missed(depot, mend):
    warm_hall(depot, c=12.0)
    tag = depot.receive("hall", 0.0, liquid_c=12.0)
    depot.want(tag, 3.0, now=0.25)
    depot.advance(0.3)
    alarm = only(depot, AlarmKind.NOT_IN_TIME)

    if mend == "warmed":
        for _ in range(2):  # so far off that it takes two who say so
            depot.record(tag, "dipped", 1.0, c=27.0, sigma_k=0.001)
    else:
        depot.want(tag, None, now=1.0)
    depot.advance(1.1)
    assert only(depot, AlarmKind.NOT_IN_TIME).state == AlarmState.RETURNED_UNACKNOWLEDGED
    depot.advance(3.1)

    assert only(depot, AlarmKind.NOT_IN_TIME).state == AlarmState.RETURNED_UNACKNOWLEDGED
    assert depot.words_of(alarm) == ["raised", "returned to normal, not acknowledged"]


# Acknowledging and shelving


def test_alarms_are_acknowledged_by_those_they_are_for_and_by_managers(depot):
    warm_hall(depot)
    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    alarm = only(depot, AlarmKind.GASSING)

    for by in (CREW, DISPATCHER, By(name="Vera", role=Role.VIEWER)):
        with pytest.raises(Refused, match=by.role), depot.writing() as tx:
            acknowledge(tx, alarm_id=alarm.id, by=by, now=at(1.0))
    assert only(depot, AlarmKind.GASSING).state == AlarmState.UNACKNOWLEDGED

    acknowledged(depot, alarm, 1.0)
    acknowledged(depot, alarm, 1.1)  # again is no harm
    assert only(depot, AlarmKind.GASSING).acknowledged_at == at(1.0)
    assert depot.words_of(alarm) == ["raised", "acknowledged"]


@pytest.mark.parametrize(
    ("fahrenheit", "state"),
    [(85.0, AlarmState.UNACKNOWLEDGED), (65.0, AlarmState.NORMAL)],
)
def test_a_shelved_alarm_comes_back_by_itself(depot, fahrenheit, state):
    warm_hall(depot)
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    alarm = only(depot, AlarmKind.GASSING)
    with depot.writing() as tx:
        shelve(tx, alarm_id=alarm.id, minutes=60.0, reason="moving it", by=MANAGER, now=at(1.0))
    cooled(depot, tag, 1.1, fahrenheit)

    depot.advance(1.9)
    shelved = only(depot, AlarmKind.GASSING)
    assert (shelved.state, shelved.shelved_until) == (AlarmState.SHELVED, at(2.0))
    depot.advance(2.0)

    assert only(depot, AlarmKind.GASSING).state == state


def test_what_cannot_be_shelved_is_refused(depot):
    warm_hall(depot)
    tag = depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(1.0)
    alarm = only(depot, AlarmKind.GASSING)
    usual = {"alarm_id": alarm.id, "minutes": 60.0, "reason": "x", "by": MANAGER, "now": at(1.0)}
    for changes, error in (
        ({"by": DISPATCHER}, Refused),
        ({"minutes": 0.0}, Invalid),
        ({"minutes": 24 * 60 + 1.0}, Invalid),
        ({"minutes": float("nan")}, Invalid),
        ({"alarm_id": "0" * 32}, NotFound),
    ):
        with pytest.raises(error), depot.writing() as tx:
            shelve(tx, **(usual | changes))
    acknowledged(depot, alarm, 1.0)
    cooled(depot, tag, 1.1, 65.0)
    depot.advance(1.5)

    with pytest.raises(Conflict), depot.writing() as tx:
        shelve(tx, **usual)


def test_looked_at_twice_nothing_changes(depot):
    warm_hall(depot)
    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.receive("van", 0.0, liquid_c=8.0)
    depot.advance(1.0)
    assert len(depot.alarms()) > 1

    with depot.writing() as tx:
        assert evaluate_alarms(tx, now=at(1.0)) == 0


def test_open_alarms_are_taken_by_what_waits_then_by_priority_then_by_age(depot):
    warm_hall(depot)
    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.receive("hall", 0.0, liquid_c=8.0)
    depot.advance(1.0)
    depot.receive("van", 1.0, liquid_c=8.0)
    depot.advance(2.0)
    kinds = [a.kind for a in open_first(depot.alarms())]
    assert kinds[:3] == [AlarmKind.SEEDING, AlarmKind.COLD_LOAD, AlarmKind.GASSING]

    acknowledged(depot, only(depot, AlarmKind.SEEDING), 2.0)
    assert [a.kind for a in open_first(depot.alarms())][-1] == AlarmKind.SEEDING
