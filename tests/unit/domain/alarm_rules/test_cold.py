"""Iso that seeds, and loads that sit cold. Common practice, no source."""

from datetime import timedelta

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side
from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.domain.wording import plain
from tests.builders.alarms import NOW, STEP, drum, found, kinds, one

HOURS = timedelta(hours=1)


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


@pytest.mark.parametrize(
    ("cold", "first_words"),
    [
        ({"seed_since": STEP - 5}, "Keep 1 iso drum in Warm room and check that it heats: "),
        ({"seeds_at": NOW + 3 * HOURS}, "Check that Warm room heats 1 iso drum before "),
    ],
)
def test_no_drum_is_to_be_brought_in_from_where_it_is_to_warm(cold, first_words):
    finding = one(drum(kind=PlaceKind.WARM_ROOM, place_name="Warm room", **cold))

    assert finding.message.startswith(first_words)
