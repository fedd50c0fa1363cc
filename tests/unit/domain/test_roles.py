"""Who may do what, line by line as it was decided."""

from datetime import timedelta

import pytest

from drumkeep.domain.events import EventKind
from drumkeep.domain.roles import (
    PERMISSIONS,
    Action,
    Role,
    correction_action,
    event_action,
    may,
    may_acknowledge,
)

MINUTE = timedelta(minutes=1)
CREW_MAY_NOT = {EventKind.RELEASED, EventKind.DISPOSED, EventKind.CORRECTED}


def test_every_action_says_who_may():
    assert set(PERMISSIONS) == set(Action)


def test_a_manager_may_do_everything():
    assert all(may(Role.MANAGER, action) for action in Action)


def test_a_viewer_may_only_read():
    assert {action for action in Action if may(Role.VIEWER, action)} == {Action.READ}


@pytest.mark.parametrize("kind", sorted(set(EventKind) - CREW_MAY_NOT))
def test_crew_may_record_all_events_but_a_few(kind):
    assert may(Role.CREW, event_action(kind))


@pytest.mark.parametrize("kind", [EventKind.RELEASED, EventKind.DISPOSED])
@pytest.mark.parametrize("role", [Role.CREW, Role.DISPATCHER, Role.VIEWER])
def test_only_a_manager_may_release_or_dispose(kind, role):
    assert not may(role, event_action(kind))


@pytest.mark.parametrize(
    ("own", "age", "allowed"),
    [
        (True, 0 * MINUTE, True),
        (True, 10 * MINUTE, True),
        (True, 10 * MINUTE + timedelta(seconds=1), False),
        (False, 0 * MINUTE, False),
    ],
)
def test_crew_may_correct_its_own_for_ten_minutes(own, age, allowed):
    assert may(Role.CREW, correction_action(own=own, age=age)) is allowed


def test_a_dispatcher_may_what_crew_may_and_move_loads_and_send_forecasts():
    def allowed(role):
        return {action for action in Action if may(role, action)}

    more = allowed(Role.DISPATCHER) - allowed(Role.CREW)

    assert allowed(Role.CREW) < allowed(Role.DISPATCHER)
    assert more == {
        Action.MOVE_LOAD,
        Action.ACKNOWLEDGE_FOR_DISPATCHER,
        Action.SEND_FORECASTS,
    }


@pytest.mark.parametrize(
    ("role", "addressed", "allowed"),
    [
        (Role.CREW, [Role.CREW], True),
        (Role.CREW, [Role.MANAGER], False),
        (Role.CREW, [Role.MANAGER, Role.CREW], True),
        (Role.DISPATCHER, [Role.CREW], True),
        (Role.DISPATCHER, [Role.DISPATCHER], True),
        (Role.DISPATCHER, [Role.MANAGER], False),
        (Role.MANAGER, [Role.DISPATCHER], True),
        (Role.MANAGER, [], True),
        (Role.VIEWER, [Role.CREW, Role.DISPATCHER, Role.MANAGER], False),
    ],
)
def test_an_alarm_is_acknowledged_by_those_it_is_addressed_to(role, addressed, allowed):
    assert may_acknowledge(role, addressed=addressed) is allowed
