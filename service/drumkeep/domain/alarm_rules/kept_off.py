"""Drums that are neither opened nor moved, under alarms whose order would open or move them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from drumkeep.domain.alarm_rules.inputs import DrumNow
from drumkeep.domain.alarms import PHASES, RANK, AlarmKind, Finding

_BESIDE: Final[Mapping[AlarmKind, str]] = {
    AlarmKind.SEEDING: "It is, or will be, cold enough to seed: look for solids before use.",
    AlarmKind.COLD_LOAD: "It is, or will be, cold enough to seed: look for solids before use.",
    AlarmKind.GASSING: "It is warm enough to give off blowing agent.",
    AlarmKind.STORAGE_BAND: "It lies outside its storage band.",
    AlarmKind.WARM_UP: "It is wanted: take another one.",
    AlarmKind.NOT_IN_TIME: "It is wanted: take another one.",
    AlarmKind.CONDENSATION: "Its steel may sweat.",
    AlarmKind.BLANKET_MISSING: "It stands open with no blanket recorded.",
    AlarmKind.RATIO_OFF: "Its ratio pulsed at the gun.",
    AlarmKind.SHELF_LIFE: "Its shelf life ends, or has ended.",
    AlarmKind.VACUUM: "It pulls a vacuum.",
    AlarmKind.NOT_COMPUTED: (
        "A fault of the program keeps its temperature from being computed: tell whoever runs the "
        "service."
    ),
}
"""What else is the matter with a drum that must be left alone, by the alarm that tells it."""

Rule = Callable[[Sequence[DrumNow]], list[Finding]]


def leaving_alone(rule: Rule, drums: Sequence[DrumNow]) -> list[Finding]:
    """Return the findings of a rule whose order opens or moves drums, except those kept off.

    These stay under its alarm, which then says to keep off them.

    Parameters
    ----------
    rule
        Gives the findings of drums that stand, or are wanted, together.
    drums
        All of them.
    """
    free = [drum for drum in drums if not drum.kept_off]
    kept = [drum for drum in drums if drum.kept_off]
    found = {(one.kind, one.cause): one for one in (rule(free) if free else [])}
    for one in rule(kept) if kept else []:
        key = one.kind, one.cause
        found[key] = _together(found[key], one) if key in found else _alone(one)
    return list(found.values())


def _alone(finding: Finding) -> Finding:
    names, beside = ", ".join(finding.drums), _BESIDE.get(finding.kind, "")
    message = f"Keep off {names}, bulged or under pressure: do not open or move. {beside}"
    return replace(finding, message=message.rstrip())


def _together(free: Finding, kept: Finding) -> Finding:
    names = ", ".join(kept.drums)
    deadlines = [one.deadline for one in (free, kept) if one.deadline is not None]
    return replace(
        free,
        message=(
            f"{free.message} Keep off {names}, bulged or under pressure: do not open or move."
        ),
        drums=tuple(sorted({*free.drums, *kept.drums})),
        priority=min(free.priority, kept.priority, key=RANK.__getitem__),
        phase=max(free.phase, kept.phase, key=PHASES.index),
        deadline=min(deadlines, default=None),
    )
