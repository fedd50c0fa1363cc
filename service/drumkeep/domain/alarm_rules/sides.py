"""Drums that must not be hooked up together, and were about to be: one alarm for each rig."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import CREW, MANAGER
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.side_checks import CheckAnswer, CheckNow

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
    drums = " and ".join(check.tags)
    do = f"Do not hook up {drums} ({check.by} checked)."
    if check.rig is not None:
        do = f"Do not hook up {drums} on {check.rig}."
    return f"{do} {check.reason} Look at both hoses, then check two drums that fit."
