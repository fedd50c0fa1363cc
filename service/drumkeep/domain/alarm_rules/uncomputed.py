"""Drums that cannot be computed, so that no other rule can tell what becomes of them."""

from collections.abc import Sequence

from drumkeep.domain.alarm_rules.inputs import MANAGER, DrumNow, count, tags
from drumkeep.domain.alarms import AlarmKind, Finding, Priority


def not_computed(drums: Sequence[DrumNow]) -> list[Finding]:
    """Tell of the drums of a site that a fault of the program keeps from being computed.

    At once and of high priority: one of them may be freezing, and no other alarm would say so.
    """
    unknown = [d for d in drums if not d.computed]
    if not unknown:
        return []
    site = unknown[0].site
    return [
        Finding(
            kind=AlarmKind.NOT_COMPUTED,
            cause=f"site {site}",
            site=site,
            place=None,
            priority=Priority.HIGH,
            audience=(MANAGER,),
            message=(
                f"Dip {count(unknown)} before use: a fault of the program keeps the temperature "
                "from being computed, and no alarm of cold or heat will come. Tell whoever runs "
                "the service; its log names the fault."
            ),
            drums=tags(unknown),
        )
    ]
