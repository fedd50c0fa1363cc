"""Alarms: one per cause with the drums under it, in the states of ISA-18.2 / IEC 62682.

A rule looks at the drums as they were last computed and says which causes are active; it decides
nothing about states. ``transition`` moves the state of one alarm and knows nothing of rules.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final


class AlarmState(StrEnum):
    """The standard's states, in its own words."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out_of_service"


class AlarmKind(StrEnum):
    """What is wrong."""

    SEEDING = "seeding"
    COLD_LOAD = "cold_load"
    GASSING = "gassing"
    PRESSURE = "pressure"
    OVERPRESSURE = "overpressure"
    STORAGE_BAND = "storage_band"
    WARM_UP = "warm_up"
    NOT_IN_TIME = "not_in_time"
    SHELF_LIFE = "shelf_life"
    BLANKET_MISSING = "blanket_missing"
    VACUUM = "vacuum"
    CONDENSATION = "condensation"
    SENSOR_SILENT = "sensor_silent"
    SENSOR_STUCK = "sensor_stuck"
    SENSOR_IMPLAUSIBLE = "sensor_implausible"
    GATEWAY_OFFLINE = "gateway_offline"
    GATEWAY_CLOCK = "gateway_clock"
    BATTERY_LOW = "battery_low"
    RIG_CHECK = "rig_check"
    RATIO_OFF = "ratio_off"
    SIDE_MISMATCH = "side_mismatch"
    NOT_COMPUTED = "not_computed"


class Priority(StrEnum):
    """How soon somebody must act; in order."""

    CRITICAL = "critical"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


RANK: Final = {priority: rank for rank, priority in enumerate(Priority)}

WAITING: Final = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED})
"""States in which nobody has said yet that they saw it."""

PHASES: Final = ("forecast", "now", "done")
"""A cause grows graver in this order; when it does, it is announced again."""


@dataclass(frozen=True)
class Finding:
    """An active cause.

    Attributes
    ----------
    kind
        What is wrong.
    cause
        Names the one thing behind it: a place, a load, a sensor, a lot, a time.
    site, place
        Ids; ``place`` None where the cause is none.
    priority, audience
        How soon, and which roles.
    message
        One sentence, the verb first, with marks (``domain.wording``).
    drums
        Tags of the drums under it.
    phase
        ``forecast``, ``now`` or ``done`` (it has happened and cannot be undone).
    deadline
        Until when acting helps.
    """

    kind: AlarmKind
    cause: str
    site: int
    place: int | None
    priority: Priority
    audience: tuple[str, ...]
    message: str
    drums: tuple[str, ...] = ()
    phase: str = "now"
    deadline: datetime | None = None


def transition(
    state: AlarmState, *, active: bool, worse: bool = False, shelf_over: bool = False
) -> AlarmState:
    """Return an alarm's next state when its cause is looked at again.

    Parameters
    ----------
    state
        The state so far.
    active
        Whether the cause is active.
    worse
        Whether it has become graver since it was last announced: it is announced again.
    shelf_over
        Whether the time for which it was shelved has passed.
    """
    match state:
        case AlarmState.NORMAL | AlarmState.RETURNED_UNACKNOWLEDGED if active:
            return AlarmState.UNACKNOWLEDGED
        case AlarmState.UNACKNOWLEDGED if not active:
            return AlarmState.RETURNED_UNACKNOWLEDGED
        case AlarmState.ACKNOWLEDGED if not active:
            return AlarmState.NORMAL
        case AlarmState.ACKNOWLEDGED if worse:
            return AlarmState.UNACKNOWLEDGED
        case AlarmState.SHELVED if shelf_over:
            return AlarmState.UNACKNOWLEDGED if active else AlarmState.NORMAL
        case _:
            return state


def acknowledged(state: AlarmState) -> AlarmState | None:
    """Return the state after an acknowledgement; None where there is nothing to acknowledge."""
    return {
        AlarmState.UNACKNOWLEDGED: AlarmState.ACKNOWLEDGED,
        AlarmState.RETURNED_UNACKNOWLEDGED: AlarmState.NORMAL,
    }.get(state)
