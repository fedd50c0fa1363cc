"""Rigs whose weekly look is late: one alarm for each rig."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from drumkeep.domain.alarm_rules.inputs import CREW, MANAGER
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.rig_checks import RigNow, RigPart, due_at, overdue_parts
from drumkeep.domain.wording import moment

PART_WORDS: Final = {
    RigPart.LUBRICANT: "pump lubricant",
    RigPart.PACKING_NUT: "packing nut",
    RigPart.DESICCANT: "desiccant",
    RigPart.NITROGEN: "nitrogen bottle",
}


def late_checks(rigs: Sequence[RigNow], *, now: datetime) -> list[Finding]:
    """Tell of rigs of which a part was not looked at for a week."""
    found = []
    for rig in rigs:
        late = overdue_parts(rig, now=now)
        if not late:
            continue
        since = min(due for part in late if (due := due_at(rig, part)) is not None)
        words = ", ".join(PART_WORDS[part] for part in late)
        found.append(
            Finding(
                kind=AlarmKind.RIG_CHECK,
                cause=rig.ref,
                site=rig.site,
                place=rig.place,
                priority=Priority.MEDIUM,
                audience=(CREW, MANAGER),
                message=(
                    f"Look over {rig.name} and record it: its weekly check of {words} is due "
                    f"since {moment(since)}."
                ),
            )
        )
    return found
