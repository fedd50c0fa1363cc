"""Drums that must not be hooked up together, and were about to be: one alarm for each rig."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import CREW, MANAGER
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.side_checks import CheckAnswer, CheckNow

_LOOK: Final = "Look at both hoses, then check two drums that fit."

CHECKED_LATELY: Final = timedelta(hours=24)
"""A mismatch that nobody settled by a check that fits is told of for a day; common practice, no
source."""


def mismatched(checks: Sequence[CheckNow], *, now: datetime) -> list[Finding]:
    """Tell of checks that found a mismatch, until a later one of the same rig fits.

    Parameters
    ----------
    checks
        The oldest first.
    now
        The present, UTC.
    """
    standing: dict[str, CheckNow] = {}
    for check in checks:
        if check.answer is CheckAnswer.FIT:
            standing.pop(check.cause, None)
        elif check.answer is CheckAnswer.DO_NOT and now - check.at < CHECKED_LATELY:
            standing[check.cause] = check
    return [
        Finding(
            kind=AlarmKind.SIDE_MISMATCH,
            cause=check.cause,
            site=check.site,
            place=check.place,
            priority=Priority.HIGH,
            audience=(CREW, MANAGER),
            message=_words(check),
            drums=check.tags,
        )
        for check in standing.values()
    ]


def _words(check: CheckNow) -> str:
    first, *others = check.tags
    if check.rig is not None:
        do = f"Do not hook up {first} on {check.rig}."
        if others:
            do = f"Do not hook up {first} and {others[0]} on {check.rig}."
    else:
        do = f"Do not hook up {first} ({check.by} checked)."
        if others:
            do = f"Do not hook up {first} and {others[0]} ({check.by} checked)."
    return f"{do} {check.reason} {_LOOK}"
