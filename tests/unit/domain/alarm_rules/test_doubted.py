"""Sensors that speak and are not believed. Common practice, no source."""

from datetime import timedelta

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.plausibility import Reason
from drumkeep.domain.sensors import What
from drumkeep.domain.wording import plain
from tests.builders.alarms import NOW, doubt, found, gateway, kinds, one, sensor

HOURS = timedelta(hours=1)
MINUTES = timedelta(minutes=1)


def test_a_stuck_sensor_is_told_of_with_what_was_seen_and_what_to_do():
    finding = one(
        sensors=(
            sensor(name="A", doubts=(doubt(Reason.STUCK, begun=NOW - 3 * HOURS, value=21.4),)),
        )
    )

    assert (finding.kind, finding.cause) == (AlarmKind.SENSOR_STUCK, "A")
    assert (finding.priority, finding.audience) == (Priority.MEDIUM, ("manager",))
    assert finding.drums == ("K7Q-X4M",)
    assert plain(finding.message) == (
        "Restart or replace the sensor of the warehouse: it has said 21.4 °C without a change for "
        "too long, doubted since 2026-01-19T21:00Z. Its drums are not known meanwhile: dip before "
        "use."
    )


def test_it_is_told_of_no_more_once_it_moves():
    moved = doubt(Reason.STUCK, begun=NOW - 3 * HOURS, over=NOW - MINUTES)

    assert kinds(sensors=(sensor(doubts=(moved,)),)) == []


@pytest.mark.parametrize("reason", [Reason.RANGE, Reason.JUMP])
def test_nonsense_is_told_of_after_three_intervals_and_at_least_fifteen_minutes(reason):
    def lasting(minutes, *, interval_s=60.0):
        strange = doubt(reason, begun=NOW - minutes * MINUTES)
        return kinds(sensors=(sensor(interval_s=interval_s, doubts=(strange,)),))

    assert lasting(14) == []
    assert lasting(15) == [AlarmKind.SENSOR_IMPLAUSIBLE]
    assert lasting(29, interval_s=600.0) == []
    assert lasting(30, interval_s=600.0) == [AlarmKind.SENSOR_IMPLAUSIBLE]


def test_nonsense_of_two_sorts_that_follows_on_counts_as_one():
    switch = NOW - 10 * MINUTES
    sorts = (
        doubt(Reason.JUMP, begun=NOW - 20 * MINUTES, over=switch),
        doubt(Reason.RANGE, begun=switch),
    )

    assert kinds(sensors=(sensor(doubts=sorts),)) == [AlarmKind.SENSOR_IMPLAUSIBLE]


def test_one_spike_is_not_told_of_and_the_third_within_hours_is():
    def spikes(*minutes_ago):
        return tuple(
            doubt(
                Reason.RANGE,
                begun=NOW - (ago + 5) * MINUTES,
                over=NOW - ago * MINUTES,
                value=85.0,
            )
            for ago in minutes_ago
        )

    assert kinds(sensors=(sensor(doubts=spikes(30)),)) == []
    assert kinds(sensors=(sensor(doubts=spikes(200, 30)),)) == []
    (finding,) = found(sensors=(sensor(doubts=spikes(300, 200, 30)),))
    assert finding.kind is AlarmKind.SENSOR_IMPLAUSIBLE
    assert "85.0 °C" in plain(finding.message)
    assert "2 times more" in finding.message
    # and no more after two quiet hours
    assert kinds(sensors=(sensor(doubts=spikes(300, 200, 121)),)) == []


def test_others_that_are_believed_meanwhile_are_named_so():
    stuck = sensor(name="A", doubts=(doubt(Reason.STUCK, begun=NOW - HOURS),))
    (finding,) = found(sensors=(stuck, sensor(name="B")))
    assert "The other sensors there are believed meanwhile." in finding.message

    (alone,) = found(sensors=(stuck, sensor(name="B", place=2)))
    assert "dip before use" in alone.message


def test_one_of_three_that_stands_apart_is_told_of():
    off = sensor(name="C", doubts=(doubt(Reason.APART, begun=NOW - HOURS, value=25.0, other=15.0),))
    (finding,) = found(sensors=(sensor(name="A"), sensor(name="B"), off))

    assert (finding.kind, finding.cause) == (AlarmKind.SENSOR_IMPLAUSIBLE, "C")
    assert "says 25.0 °C where the others say 15.0 °C" in plain(finding.message)


def test_two_that_contradict_one_another_are_one_cause_and_neither_is_believed_more():
    def off(name, value, other):
        return sensor(
            name=name, doubts=(doubt(Reason.APART, begun=NOW - HOURS, value=value, other=other),)
        )

    (finding,) = found(sensors=(off("A", 25.0, 15.0), off("B", 15.0, 25.0)))

    assert finding.cause == "A"
    assert "they say 25.0 °C and 15.0 °C" in plain(finding.message)
    assert "Neither is believed more" in finding.message


def test_a_sensor_that_fell_silent_is_told_of_as_silent_alone():
    mute = sensor(last_at=NOW - 2 * HOURS, doubts=(doubt(Reason.STUCK, begun=NOW - 5 * HOURS),))

    assert kinds(sensors=(mute,)) == [AlarmKind.SENSOR_SILENT]
    assert kinds(sensors=(mute,), gateways=(gateway(online=False),)) == [AlarmKind.GATEWAY_OFFLINE]


def test_a_sensor_on_a_drum_and_one_of_humidity_are_named_by_what_they_measure():
    strap = sensor(
        place=None,
        place_name=None,
        what=What.SKIN,
        drums=("K7Q-X4M",),
        doubts=(doubt(Reason.RANGE, begun=NOW - HOURS, value=120.0),),
    )
    assert plain(one(sensors=(strap,)).message) == (
        "Check the sensor of drum K7Q-X4M and its wire: it said 120.0 °C at 2026-01-19T23:00Z, "
        "which a drum's skin cannot be. It has no say meanwhile."
    )
    damp = sensor(what=What.HUMIDITY, doubts=(doubt(Reason.RANGE, begun=NOW - HOURS, value=0.0),))
    assert "it said 0 % at" in one(sensors=(damp,)).message
