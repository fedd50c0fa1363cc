"""Which causes are active: one a place, a load, a sensor, a time. Common practice, no source."""

from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.grid import moment_of
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.domain.wording import plain
from tests.builders.alarms import NOW, STEP, drum, found, gateway, sensor

HOURS = timedelta(hours=1)
MINUTES = timedelta(minutes=1)
STORAGE = [PlaceKind.WAREHOUSE, PlaceKind.DOCK, PlaceKind.YARD, PlaceKind.VEHICLE]
LOADS = [PlaceKind.DOCK, PlaceKind.VEHICLE]


def one(*drums, **how):
    (finding,) = found(*drums, **how)
    return finding


def kinds(*drums, **how):
    return [finding.kind for finding in found(*drums, **how)]


def test_drums_that_are_well_raise_nothing():
    assert (
        found(drum(), drum("A", side=Side.RESIN), sensors=(sensor(),), gateways=(gateway(),)) == []
    )


def test_nothing_at_all_raises_nothing():
    assert found() == []


# Seeding, and loads that sit cold


@pytest.mark.parametrize(("steps", "raised"), [(0, False), (1, False), (2, True), (50, True)])
def test_iso_under_its_limit_is_alarmed_after_ten_minutes(steps, raised):
    cold = drum(seed_since=STEP - steps, bottom_low_c=9.0)

    assert kinds(cold) == ([AlarmKind.SEEDING] if raised else [])


@pytest.mark.parametrize(
    ("kind", "alarm", "audience"),
    [
        (PlaceKind.WAREHOUSE, AlarmKind.SEEDING, ("manager",)),
        (PlaceKind.YARD, AlarmKind.SEEDING, ("manager",)),
        (PlaceKind.RIG, AlarmKind.SEEDING, ("manager",)),
        (PlaceKind.DOCK, AlarmKind.COLD_LOAD, ("dispatcher",)),
        (PlaceKind.VEHICLE, AlarmKind.COLD_LOAD, ("dispatcher",)),
    ],
)
def test_cold_on_the_way_is_the_dispatchers_business(kind, alarm, audience):
    finding = one(drum(kind=kind, seed_since=STEP - 5))

    assert (finding.kind, finding.audience, finding.priority) == (alarm, audience, Priority.HIGH)
    assert finding.cause == f"north/{kind.value}"


def test_a_place_has_one_cause_with_all_its_drums_under_it():
    finding = one(
        drum("C", seed_since=STEP - 5),
        drum("A", seed_since=STEP - 9),
        drum("B", seeds_at=NOW + 3 * HOURS),
        drum("D"),
        drum("E", side=Side.RESIN, bottom_low_c=2.0),
    )

    assert finding.drums == ("A", "B", "C")
    assert finding.phase == "now"
    assert "2 iso drums" in finding.message


def test_two_places_have_a_cause_each():
    causes = found(
        drum("A", seed_since=STEP - 5), drum("B", kind=PlaceKind.YARD, seed_since=STEP - 5)
    )

    assert [f.cause for f in causes] == ["north/warehouse", "north/yard"]


def test_a_forecast_tells_how_long_is_left():
    finding = one(drum("A", seeds_at=NOW + 5 * HOURS), drum("B", seeds_at=NOW + 3 * HOURS))

    assert (finding.phase, finding.deadline) == ("forecast", NOW + 3 * HOURS)


def test_a_load_that_was_cold_for_two_hours_sat_cold():
    finding = one(drum(kind=PlaceKind.VEHICLE, cold_steps=24))

    assert (finding.kind, finding.phase, finding.deadline) == (AlarmKind.COLD_LOAD, "done", None)
    assert "sat cold, 2 h" in plain(finding.message)
    assert kinds(drum(kind=PlaceKind.VEHICLE, cold_steps=23)) == []


def test_a_load_that_is_going_to_be_cold_for_two_hours_will_sit_cold():
    def ahead(hours):
        coming = NOW + 3 * HOURS
        return one(drum(kind=PlaceKind.VEHICLE, seeds_at=coming, cold_hours=hours)).message

    assert "will sit cold" in ahead(2.0)
    assert "will sit cold" not in ahead(1.75)


def test_a_drum_in_a_warehouse_is_no_load():
    assert kinds(drum(cold_steps=500)) == []


def test_a_load_that_sat_cold_and_still_is_says_both():
    finding = one(drum(kind=PlaceKind.DOCK, cold_steps=30, seed_since=STEP - 30))

    assert finding.phase == "done"
    assert "still cold" in finding.message


def test_what_seeds_in_the_forecast_leaves_the_alarm_only_past_the_dead_band():
    under = {AlarmKind.SEEDING: {"A"}}
    f = celsius_from_fahrenheit

    assert kinds(drum("A", lowest_c=f(50.9)), under=under) == [AlarmKind.SEEDING]
    assert kinds(drum("A", lowest_c=f(51.1)), under=under) == []
    assert kinds(drum("A", lowest_c=f(50.9))) == []


def test_a_drum_of_unknown_temperature_raises_no_new_alarm_of_cold():
    assert kinds(drum(supported=False, seed_since=STEP - 50)) == []


def test_silence_does_not_end_an_alarm_of_cold():
    # no data is not good news
    unknown = drum("A", supported=False, seed_since=STEP - 50)

    assert kinds(unknown, under={AlarmKind.SEEDING: {"A"}}) == [AlarmKind.SEEDING]


def test_a_load_that_sat_cold_has_done_so_whatever_is_known_of_it_now():
    assert kinds(drum(kind=PlaceKind.VEHICLE, supported=False, cold_steps=30)) == [
        AlarmKind.COLD_LOAD
    ]


# Gassing, pressure, storage


@pytest.mark.parametrize("kind", PlaceKind)
def test_gassing_is_alarmed_where_drums_are_stored_after_half_an_hour(kind):
    def warm(steps):
        return drum(side=Side.RESIN, kind=kind, gas_since=STEP - steps, mean_c=25.0)

    assert AlarmKind.GASSING not in kinds(warm(5))
    assert (AlarmKind.GASSING in kinds(warm(6))) == (kind in STORAGE)


def test_gassing_is_medium_and_the_managers():
    finding = one(drum(side=Side.RESIN, gas_since=STEP - 6, mean_c=25.0))

    assert (finding.priority, finding.audience) == (Priority.MEDIUM, ("manager",))
    assert "25.0 °C" in plain(finding.message)


@pytest.mark.parametrize(
    ("kpa", "was", "kind"),
    [
        (30.0, None, None),
        (30.1, None, AlarmKind.PRESSURE),
        (26.0, AlarmKind.PRESSURE, AlarmKind.PRESSURE),
        (25.0, AlarmKind.PRESSURE, None),
        (26.0, None, None),
        (46.0, AlarmKind.OVERPRESSURE, AlarmKind.OVERPRESSURE),
        (45.0, AlarmKind.OVERPRESSURE, AlarmKind.PRESSURE),
    ],
)
def test_pressure_warns_from_30_to_25_kpa_and_is_over_until_45(kpa, was, kind):
    under = {was: {"K7Q-X4M"}} if was else None

    assert kinds(drum(pressure_kpa=kpa), under=under) == ([kind] if kind else [])


def test_overpressure_is_critical_and_says_to_keep_off():
    finding = one(drum(overpressure=True, pressure_kpa=60.0))

    assert (finding.kind, finding.priority) == (AlarmKind.OVERPRESSURE, Priority.CRITICAL)
    assert "do not open, do not move" in finding.message


@pytest.mark.parametrize("kind", PlaceKind)
@pytest.mark.parametrize(
    "beyond",
    [
        {"side": Side.RESIN, "below_since": STEP - 6},
        {"side": Side.ISO, "above_since": STEP - 6},
    ],
)
def test_the_storage_band_holds_where_drums_are_stored(kind, beyond):
    assert kinds(drum(kind=kind, **beyond)) == ([AlarmKind.STORAGE_BAND] if kind in STORAGE else [])


def test_the_storage_band_is_alarmed_after_half_an_hour():
    assert kinds(drum(side=Side.RESIN, below_since=STEP - 5)) == []


def test_what_seeding_and_gassing_say_is_not_said_again_of_the_storage_band():
    cold_iso = drum(seed_since=STEP - 9, below_since=STEP - 9)
    warm_resin = drum(side=Side.RESIN, gas_since=STEP - 9, above_since=STEP - 9, mean_c=25.0)

    assert kinds(cold_iso) == [AlarmKind.SEEDING]
    assert kinds(warm_resin) == [AlarmKind.GASSING]


def test_too_cold_and_too_warm_in_one_place_are_two_causes():
    findings = found(
        drum("A", side=Side.RESIN, below_since=STEP - 9), drum("B", above_since=STEP - 9)
    )

    assert len({f.cause for f in findings}) == 2
    assert [f.drums for f in findings] == [("A",), ("B",)]


# What is wanted and by when


WANTED = NOW + 20 * HOURS


def wanted(tag="A", **changes):
    given: dict[str, Any] = {"wanted_at": WANTED, "ready": False} | changes
    return drum(tag, **given)


@pytest.mark.parametrize(
    ("left", "raised"), [(2 * HOURS + MINUTES, False), (2 * HOURS, True), (timedelta(0), True)]
)
def test_a_warm_up_is_announced_two_hours_before_it_must_start(left, raised):
    slow = WANTED + 5 * HOURS
    finding = [
        f
        for f in found(wanted(start_by=NOW + left, slow_ready_at=slow))
        if f.kind is AlarmKind.WARM_UP
    ]

    assert bool(finding) == raised
    if raised:
        assert finding[0].deadline == NOW + left
        assert finding[0].audience == ("manager",)


@pytest.mark.parametrize(
    "there", [{"in_warm_room": True}, {"ready": True}, {"start_by": None}, {"wanted_at": None}]
)
def test_no_warm_up_is_asked_for_where_it_is_done_or_not_needed(there):
    drums = wanted(**({"start_by": NOW + HOURS, "slow_ready_at": WANTED - HOURS} | there))

    assert AlarmKind.WARM_UP not in kinds(drums)


def test_drums_wanted_at_one_time_at_one_site_are_one_cause():
    how: dict[str, Any] = {"start_by": NOW + HOURS}
    same = [wanted("A", **how), wanted("B", **how, kind=PlaceKind.YARD)]
    other_time = wanted("C", **how, wanted_at=WANTED + HOURS)
    other_site = wanted("D", **how, site=2)

    warm_ups = [f for f in found(*same, other_time, other_site) if f.kind is AlarmKind.WARM_UP]
    assert sorted(f.drums for f in warm_ups) == [("A", "B"), ("C",), ("D",)]


@pytest.mark.parametrize(
    ("changes", "late"),
    [
        ({"slow_ready_at": None}, True),
        ({"slow_ready_at": WANTED + MINUTES}, True),
        ({"slow_ready_at": WANTED}, False),
        ({"slow_ready_at": None, "ready": True}, False),
        # there is still time to warm it up
        ({"slow_ready_at": None, "start_by": NOW + HOURS}, False),
        # the time to start has passed, outside a warm room
        ({"slow_ready_at": None, "start_by": NOW - MINUTES}, True),
        # it is in the warm room and is not going to make it
        ({"slow_ready_at": WANTED + HOURS, "start_by": NOW + HOURS, "in_warm_room": True}, True),
    ],
)
def test_drums_that_will_not_be_ready_are_said_to_be_late(changes, late):
    assert (AlarmKind.NOT_IN_TIME in kinds(wanted(**changes))) == late


def test_being_in_time_again_takes_a_quarter_of_an_hour_to_spare():
    under = {AlarmKind.NOT_IN_TIME: {"A"}}

    assert kinds(wanted(slow_ready_at=WANTED - 14 * MINUTES), under=under) == [
        AlarmKind.NOT_IN_TIME
    ]
    assert kinds(wanted(slow_ready_at=WANTED - 15 * MINUTES), under=under) == []


def test_once_the_time_has_come_nothing_is_wanted_any_more():
    late = wanted(slow_ready_at=None, start_by=NOW - HOURS, wanted_at=NOW)

    assert kinds(late) == []


# Shelf life


@pytest.mark.parametrize(
    ("days", "phase", "priority"),
    [
        (31, None, None),
        (30, "forecast", Priority.MEDIUM),
        (8, "forecast", Priority.MEDIUM),
        (7, "now", Priority.HIGH),
        (1, "now", Priority.HIGH),
        (0, "done", Priority.HIGH),
        (-3, "done", Priority.HIGH),
    ],
)
def test_shelf_life_is_told_at_30_at_7_and_at_0_days(days, phase, priority):
    findings = found(drum(expires_at=NOW + timedelta(days=days)))

    assert [(f.phase, f.priority) for f in findings] == ([(phase, priority)] if phase else [])


def test_a_lot_is_one_cause_wherever_its_drums_stand():
    soon = NOW + timedelta(days=5)
    finding = one(
        drum("A", expires_at=soon), drum("B", kind=PlaceKind.YARD, expires_at=soon), drum("C")
    )

    assert finding.drums == ("A", "B")


# What nobody looks at


def test_iso_left_open_without_a_blanket_for_over_an_hour():
    assert kinds(drum(open_since=NOW - 60 * MINUTES)) == []
    finding = one(drum(open_since=NOW - 61 * MINUTES))

    assert (finding.kind, finding.audience) == (AlarmKind.BLANKET_MISSING, ("crew", "manager"))
    assert kinds(drum(side=Side.RESIN, open_since=NOW - 10 * HOURS)) == []


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


def test_a_gateway_of_the_same_name_at_another_site_excuses_nobody():
    silent = sensor(last_at=NOW - HOURS, site=2)

    assert AlarmKind.SENSOR_SILENT in kinds(sensors=(silent,), gateways=(gateway(online=False),))


def test_a_gateway_that_was_never_there_is_not_offline():
    never = gateway(online=False, presence_at=None)

    assert kinds(gateways=(never,)) == []
    assert kinds(sensors=(sensor(last_at=None),), gateways=(never,)) == [AlarmKind.SENSOR_SILENT]


# All of them


def test_messages_are_sentences_with_the_verb_first():
    findings = found(
        drum("A", seed_since=STEP - 5),
        drum("B", kind=PlaceKind.VEHICLE, cold_steps=30),
        drum("C", side=Side.RESIN, gas_since=STEP - 9, mean_c=26.0),
        drum("D", pressure_kpa=35.0),
        drum("E", overpressure=True, pressure_kpa=55.0),
        drum("F", side=Side.RESIN, kind=PlaceKind.YARD, below_since=STEP - 9),
        wanted("G", start_by=NOW, slow_ready_at=None),
        wanted("H", slow_ready_at=None),
        drum("I", expires_at=NOW),
        drum("J", open_since=NOW - 5 * HOURS),
        sensors=(sensor(last_at=None),),
        gateways=(gateway(code="cellar", online=False),),
    )

    assert {f.kind for f in findings} == set(AlarmKind)
    for finding in findings:
        words = plain(finding.message)
        assert words.endswith(".")
        assert words.split()[0] in {
            "Bring",
            "Look",
            "Cool",
            "Keep",
            "Warm",
            "Move",
            "Take",
            "Put",
            "Use",
            "Check",
        }
        assert "{" not in words


def test_findings_of_one_moment_have_each_their_own_key():
    everything = [
        drum(
            str(i),
            kind=kind,
            side=side,
            seed_since=STEP - 9,
            gas_since=STEP - 9,
            below_since=STEP - 9,
            above_since=STEP - 9,
            pressure_kpa=35.0,
            mean_c=26.0,
        )
        for i, (kind, side) in enumerate((k, s) for k in PlaceKind for s in Side)
    ]
    keys = [(f.kind, f.cause) for f in found(*everything)]

    assert len(keys) == len(set(keys))


def test_since_is_told_as_the_time_of_the_step():
    finding = one(drum(seed_since=STEP - 12))

    assert f"{{w:{moment_of(STEP - 12).isoformat()}}}" in finding.message
