"""What is wanted and by when, and shelf life. Common practice, no source."""

from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side
from tests.builders.alarms import NOW, drum, found, kinds, one

HOURS = timedelta(hours=1)
MINUTES = timedelta(minutes=1)


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
    "there",
    [
        {"in_warm_room": True},
        {"ready": True},
        {"start_by": None},
        {"wanted_at": None},
        {"slow_ready_at": WANTED - HOURS / 2},
    ],
)
def test_no_warm_up_is_asked_for_where_it_is_done_or_not_needed(there):
    needed = {"start_by": NOW + HOURS, "slow_ready_at": WANTED - HOURS / 3}

    assert AlarmKind.WARM_UP in kinds(wanted(**needed))
    assert AlarmKind.WARM_UP not in kinds(wanted(**(needed | there)))


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
        drum("A", expires_at=soon),
        drum("B", kind=PlaceKind.YARD, expires_at=soon),
        drum("C", lot_ref="north-iso/LOT-2"),
    )

    assert finding.drums == ("A", "B")


def test_only_the_drums_that_heat_brought_to_their_end_are_told_of():
    far, soon, over = (NOW + timedelta(days=days) for days in (90, 20, -1))
    hot = one(drum("A", expires_at=far), drum("B", expires_at=soon))
    assert (hot.drums, hot.phase) == (("B",), "forecast")
    assert hot.deadline == soon

    ended = one(
        *(drum(tag, expires_at=at) for tag, at in zip("ABC", (far, soon, over), strict=True))
    )
    assert (ended.drums, ended.phase) == (("C",), "done")


def test_lots_of_one_code_and_two_products_are_two_causes():
    soon = NOW + timedelta(days=5)
    causes = found(
        drum("A", expires_at=soon),
        drum("B", side=Side.RESIN, lot_ref="north-resin/LOT-1", expires_at=soon),
    )

    assert [f.drums for f in causes] == [("A",), ("B",)]
    assert causes[0].cause != causes[1].cause
