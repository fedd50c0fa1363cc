"""Iso that sweats: told only where somebody has it open, or is about to open it."""

from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.products import Side
from drumkeep.domain.wording import plain
from tests.builders.alarms import NOW, drum, kinds, one

HOUR = timedelta(hours=1)
OPEN: dict[str, Any] = {"open_since": NOW - 0.5 * HOUR}
WET: dict[str, Any] = {"dew_margin_k": 1.0, "humidity": 70.0, "humidity_assumed": True}


def test_a_cold_drum_in_the_warehouse_that_nobody_wants_is_no_alarm():
    assert kinds(drum(**WET)) == []


def test_an_open_drum_that_sweats_is_high_and_for_the_crew_too():
    finding = one(drum(**WET, **OPEN))

    assert finding.kind is AlarmKind.CONDENSATION
    assert (finding.priority, finding.audience) == (Priority.HIGH, ("crew", "manager"))
    assert (finding.phase, finding.deadline) == ("now", None)
    assert "70 % humidity, assumed" in plain(finding.message)


@pytest.mark.parametrize(
    ("hours", "told"), [(1.0, True), (12.0, True), (12.1, False), (-1.0, False)]
)
def test_a_drum_that_sweats_and_is_wanted_within_12_h_is_told(hours, told):
    wanted = drum(**WET, wanted_at=NOW + hours * HOUR)

    assert (AlarmKind.CONDENSATION in kinds(wanted)) is told


def test_the_alarm_for_a_wanted_drum_says_until_when_it_helps():
    finding = one(
        drum("A", **WET, wanted_at=NOW + 9 * HOUR), drum("B", **WET, wanted_at=NOW + 3 * HOUR)
    )

    assert (finding.priority, finding.phase) == (Priority.MEDIUM, "forecast")
    assert finding.deadline == NOW + 3 * HOUR
    assert finding.drums == ("A", "B")
    assert "Warm 2 iso drums" in finding.message


def test_open_and_wanted_drums_of_one_place_are_one_cause():
    finding = one(drum("A", **WET, **OPEN), drum("B", **WET, wanted_at=NOW + 3 * HOUR))

    assert finding.drums == ("A", "B")
    assert "Warm 1 iso drum more" in finding.message


def test_an_open_drum_under_dry_gas_is_no_alarm():
    # What counts as open ends when a blanket is recorded.
    assert kinds(drum(**WET, open_since=None)) == []


def test_resin_may_sweat():
    assert kinds(drum(side=Side.RESIN, **WET, **OPEN)) == []


@pytest.mark.parametrize(
    ("margin", "was", "told"),
    [(1.9, False, True), (2.0, False, False), (2.4, True, True), (2.5, True, False)],
)
def test_it_comes_at_2_k_over_the_dew_point_and_goes_at_2_and_a_half(margin, was, told):
    under = {AlarmKind.CONDENSATION: {"K7Q-X4M"}} if was else None

    assert (AlarmKind.CONDENSATION in kinds(drum(**OPEN, dew_margin_k=margin), under=under)) is told


def test_where_the_air_is_not_known_nothing_is_told():
    assert kinds(drum(**OPEN, dew_margin_k=None)) == []
