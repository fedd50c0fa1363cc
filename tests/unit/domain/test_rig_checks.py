"""When a part of a rig wants its next look. Seven days: common practice, no source."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.alarm_rules import findings
from drumkeep.domain.alarms import AlarmKind, Finding
from drumkeep.domain.rig_checks import RigNow, RigPart, RigState, due_at, overdue_parts, state_of

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
DAY = timedelta(days=1)


def rig(*, first: float | None = None, **days_ago: float) -> RigNow:
    """Return a rig with looks so many days ago; ``first`` is the first ever."""
    last = {RigPart(name): NOW - days * DAY for name, days in days_ago.items()}
    begun = min(last.values(), default=None) if first is None else NOW - first * DAY
    return RigNow(place=7, site=1, name="Truck 2", ref="north/truck", last_at=last, first_at=begun)


def alarms(*rigs: RigNow) -> list[Finding]:
    return findings(
        [],
        sensors=[],
        gateways=[],
        rigs=rigs,
        was=lambda *_: False,
        told=lambda *_: False,
        now=NOW,
    )


@pytest.mark.parametrize(
    ("days", "state"),
    [
        (0.0, RigState.DONE),
        (5.9, RigState.DONE),
        (6.0, RigState.DUE),
        (6.99, RigState.DUE),
        (7.0, RigState.OVERDUE),
    ],
)
def test_a_week_is_seven_days_and_its_last_day_is_due(days, state):
    assert state_of(rig(desiccant=days), RigPart.DESICCANT, now=NOW) is state


def test_a_rig_that_nobody_ever_checked_is_told_of_and_raises_no_alarm():
    never = rig()
    assert {state_of(never, part, now=NOW) for part in RigPart} == {RigState.NEVER}
    assert due_at(never, RigPart.NITROGEN) is None
    assert alarms(never) == []


def test_a_part_left_out_is_late_a_week_after_the_rigs_first_look():
    young, old = rig(desiccant=0.0, first=6.0), rig(desiccant=0.0, first=7.5)
    assert state_of(young, RigPart.NITROGEN, now=NOW) is RigState.NEVER
    assert overdue_parts(young, now=NOW) == []
    assert RigPart.NITROGEN in overdue_parts(old, now=NOW)
    assert RigPart.DESICCANT not in overdue_parts(old, now=NOW)


def test_one_alarm_for_a_rig_names_its_late_parts_and_goes_to_crew_and_manager():
    done = dict.fromkeys((part.value for part in RigPart), 1.0)
    late = done | {"nitrogen": 8.0, "lubricant": 7.5}

    assert alarms(rig(**done)) == []
    (found,) = alarms(rig(**late), rig(**done))

    assert (found.kind, found.cause, found.place) == (AlarmKind.RIG_CHECK, "north/truck", 7)
    assert found.audience == ("crew", "manager")
    assert "pump lubricant, nitrogen bottle" in found.message
    assert (NOW - DAY).isoformat() in found.message  # since the first of them was due
