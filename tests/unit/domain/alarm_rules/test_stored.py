"""Gassing, pressure and the storage band. Common practice, no source."""

import pytest

from drumkeep.domain.alarm_rules.inputs import DrumNow
from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side
from drumkeep.domain.wording import plain
from tests.builders.alarms import STEP, drum, found, kinds, one

STORAGE = [PlaceKind.WAREHOUSE, PlaceKind.DOCK, PlaceKind.YARD, PlaceKind.VEHICLE]


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


def test_a_drum_under_a_heater_is_warm_on_purpose():
    def warm(*, heated: bool) -> DrumNow:
        return drum(above_since=STEP - 9, mean_c=27.0, heated=heated)

    assert kinds(warm(heated=False)) == [AlarmKind.STORAGE_BAND]
    assert kinds(warm(heated=True)) == []


@pytest.mark.parametrize("heated", [True, False])
@pytest.mark.parametrize("kind", PlaceKind)
def test_liquid_over_its_maximum_is_high_everywhere_and_under_a_heater_too(kind, heated):
    # 120 °F, 48.9 °C, is the most for iso
    assert kinds(drum(kind=kind, heated=heated, mean_c=48.8)) == []
    finding = one(drum(kind=kind, heated=heated, mean_c=85.0))

    assert (finding.kind, finding.priority) == (AlarmKind.STORAGE_BAND, Priority.HIGH)
    assert finding.audience == ("manager",)
    assert "Stop heating 1 iso drum" in finding.message
    assert "85.0 °C" in plain(finding.message)


def test_over_the_maximum_has_a_dead_band():
    hot = drum(mean_c=48.5)

    assert kinds(hot) == []
    assert kinds(hot, under={AlarmKind.STORAGE_BAND: {"K7Q-X4M"}}) == [AlarmKind.STORAGE_BAND]
