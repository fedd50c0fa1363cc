"""States of an alarm, after ISA-18.2-2016 / IEC 62682."""

import pytest

from drumkeep.domain.alarms import RANK, AlarmState, Priority, acknowledged, transition

NORMAL = AlarmState.NORMAL
UNACK = AlarmState.UNACKNOWLEDGED
ACK = AlarmState.ACKNOWLEDGED
RETURNED = AlarmState.RETURNED_UNACKNOWLEDGED
SHELVED = AlarmState.SHELVED


# State before, whether its cause is active, state after: the standard's own diagram.
@pytest.mark.parametrize(
    ("before", "active", "after"),
    [
        (NORMAL, True, UNACK),  # A to B
        (NORMAL, False, NORMAL),
        (UNACK, True, UNACK),
        (UNACK, False, RETURNED),  # B to D
        (ACK, True, ACK),
        (ACK, False, NORMAL),  # C to A
        (RETURNED, True, UNACK),  # D to B, re-alarm
        (RETURNED, False, RETURNED),
        (SHELVED, True, SHELVED),
        (SHELVED, False, SHELVED),
        (AlarmState.SUPPRESSED, True, AlarmState.SUPPRESSED),
        (AlarmState.OUT_OF_SERVICE, True, AlarmState.OUT_OF_SERVICE),
        (AlarmState.OUT_OF_SERVICE, False, AlarmState.OUT_OF_SERVICE),
    ],
)
def test_an_alarm_follows_its_cause(before, active, after):
    assert transition(before, active=active) is after


@pytest.mark.parametrize(
    ("before", "after"), [(UNACK, ACK), (RETURNED, NORMAL), (NORMAL, None), (ACK, None)]
)
def test_acknowledging_an_alarm(before, after):
    assert acknowledged(before) is after


def test_an_alarm_that_grew_graver_wants_to_be_acknowledged_again():
    assert transition(ACK, active=True, worse=True) is UNACK
    assert transition(UNACK, active=True, worse=True) is UNACK


@pytest.mark.parametrize(("active", "after"), [(True, UNACK), (False, NORMAL)])
def test_a_shelved_alarm_comes_back_by_itself_when_its_time_is_over(active, after):
    # check value: shelved, it does not annunciate, and un-shelves by itself at expiry
    assert transition(SHELVED, active=active, worse=True) is SHELVED
    assert transition(SHELVED, active=active, shelf_over=True) is after


def test_low_alarm_at_10_with_a_dead_band_of_half_a_kelvin():
    # 9.9 active; 10.3 still active; 10.5 returns, and waits to be acknowledged; then normal.
    state, active = NORMAL, False
    states = []
    for value in (10.2, 9.9, 10.3, 10.5):
        active = value < 10.0 or (active and value < 10.5)
        state = transition(state, active=active)
        states.append(state)

    assert states == [NORMAL, UNACK, UNACK, RETURNED]
    assert acknowledged(state) is NORMAL


def test_priorities_have_an_order():
    assert sorted(Priority, key=RANK.__getitem__) == [
        Priority.CRITICAL,
        Priority.HIGH,
        Priority.MEDIUM,
        Priority.LOW,
    ]
