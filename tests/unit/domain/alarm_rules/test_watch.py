"""What nobody looks at: silence, absence, drums left open. Common practice, no source."""

from datetime import timedelta

import pytest

from drumkeep.domain.alarms import AlarmKind
from drumkeep.domain.gateway_clocks import ClockOff
from drumkeep.domain.products import Side
from tests.builders.alarms import NOW, battery, drum, gateway, kinds, one, sensor

HOURS = timedelta(hours=1)
MINUTES = timedelta(minutes=1)


def test_iso_left_open_without_a_blanket_for_over_an_hour():
    assert kinds(drum(open_since=NOW - 60 * MINUTES)) == []
    finding = one(drum(open_since=NOW - 61 * MINUTES))

    assert (finding.kind, finding.audience) == (AlarmKind.BLANKET_MISSING, ("crew", "manager"))
    assert kinds(drum(side=Side.RESIN, open_since=NOW - 10 * HOURS)) == []


def test_drums_whose_ratio_pulsed_are_told_of_until_each_was_looked_at():
    both = [drum("A", recheck_since=NOW - HOURS), drum("B", recheck_since=NOW)]
    finding = one(*both, drum("C"))

    assert (finding.kind, finding.drums) == (AlarmKind.RATIO_OFF, ("A", "B"))
    assert finding.audience == ("crew", "manager")
    assert one(both[0], drum("B")).drums == ("A",)
    assert kinds(drum("A"), drum("B")) == []


@pytest.mark.parametrize(
    ("interval_s", "minutes", "silent"),
    [
        (60.0, 15, False),
        (60.0, 16, True),
        (300.0, 15, False),
        (300.0, 16, True),
        (3600.0, 180, False),
        (3600.0, 181, True),
    ],
)
def test_a_sensor_is_silent_after_three_intervals_and_at_least_fifteen_minutes(
    interval_s, minutes, silent
):
    mute = sensor(interval_s=interval_s, last_at=NOW - minutes * MINUTES)

    assert kinds(sensors=(mute,)) == ([AlarmKind.SENSOR_SILENT] if silent else [])


def test_a_sensor_never_heard_of_is_silent():
    assert kinds(sensors=(sensor(last_at=None),)) == [AlarmKind.SENSOR_SILENT]


def test_a_sensor_hung_just_now_is_given_its_time_to_speak():
    assert kinds(sensors=(sensor(last_at=None, hung_at=NOW - 5 * MINUTES),)) == []


def test_after_the_service_was_down_sensors_are_given_time_but_silence_told_of_stays_told():
    mute = sensor(last_at=NOW - 5 * HOURS)
    back = {"sensors": (mute,), "resumed_at": NOW - 5 * MINUTES}

    assert kinds(**back) == []
    assert kinds(**back, told={AlarmKind.SENSOR_SILENT}) == [AlarmKind.SENSOR_SILENT]
    assert kinds(sensors=(mute,), resumed_at=NOW - HOURS) == [AlarmKind.SENSOR_SILENT]


def test_a_silent_sensor_is_a_cause_of_its_own_with_its_drums():
    finding = one(sensors=(sensor(last_at=NOW - HOURS, drums=("A", "B")),))

    assert finding.cause == "urn:dev:ow:10e2073a01080063:temp"
    assert finding.drums == ("A", "B")
    assert "dip before use" in finding.message


def test_a_gateway_that_went_away_is_one_cause_for_all_its_sensors():
    silent = [sensor(name=f"s{i}", last_at=NOW - HOURS) for i in range(3)]
    gone = gateway(online=False)

    assert kinds(sensors=tuple(silent), gateways=(gone,)) == [AlarmKind.GATEWAY_OFFLINE]
    elsewhere = sensor(name="s9", gateway="cellar", last_at=NOW - HOURS)
    assert kinds(sensors=(*silent, elsewhere), gateways=(gone,)) == [
        AlarmKind.GATEWAY_OFFLINE,
        AlarmKind.SENSOR_SILENT,
    ]


def test_a_gateway_is_told_of_when_it_sent_wrong_times_more_than_once():
    once = gateway(clock_off=ClockOff(-365 * 86_400.0, since=NOW, at=NOW))
    again = gateway(clock_off=ClockOff(-365 * 86_400.0, since=NOW - HOURS, at=NOW))

    assert kinds(gateways=(once,)) == []
    finding = one(gateways=(again,))
    assert finding.kind is AlarmKind.GATEWAY_CLOCK
    assert finding.message.startswith("Set the clock of gateway attic: off by about a year.")


def test_a_gateway_of_the_same_name_at_another_site_excuses_nobody():
    silent = sensor(last_at=NOW - HOURS, site=2)

    assert AlarmKind.SENSOR_SILENT in kinds(sensors=(silent,), gateways=(gateway(online=False),))


def test_a_gateway_that_was_never_there_is_not_offline():
    never = gateway(online=False, presence_at=None)

    assert kinds(gateways=(never,)) == []
    assert kinds(sensors=(sensor(last_at=None),), gateways=(never,)) == [AlarmKind.SENSOR_SILENT]


@pytest.mark.parametrize(
    ("percent", "was_low", "low"),
    [(20.0, False, True), (20.5, False, False), (25.0, True, True), (25.5, True, False)],
)
def test_a_battery_is_low_from_twenty_per_cent_until_it_is_above_twenty_five(percent, was_low, low):
    told = {AlarmKind.BATTERY_LOW} if was_low else set()

    assert kinds(batteries=(battery(percent),), told=told) == ([AlarmKind.BATTERY_LOW] * low)


def test_a_low_battery_is_told_of_with_what_it_feeds():
    finding = one(batteries=(battery(12.4),))

    assert finding.message.startswith("Change the battery of gateway attic: 12 % left at ")
    assert (finding.cause, finding.audience) == ("urn:dev:os:32473-attic:battery", ("manager",))
