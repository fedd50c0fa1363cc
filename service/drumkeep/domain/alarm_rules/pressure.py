"""Gas in drums: computed pressure, and vacuum."""

from collections.abc import Sequence

from drumkeep.domain.alarm_rules.inputs import MANAGER, DrumNow, Was, count, tags
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.liquid_pressure import (
    OVER_OFF_KPA,
    OVER_ON_KPA,
    VACUUM_OFF_KPA,
    VACUUM_ON_KPA,
    WARN_KPA,
    WARN_OFF_KPA,
)
from drumkeep.domain.wording import pressure as kpa


def pressure(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Tell of high computed pressure, with dead bands; what is over the limit apart."""
    first = drums[0]
    over = [
        d
        for d in drums
        if d.overpressure
        or (
            was(AlarmKind.OVERPRESSURE, first.place_ref, d.tag)
            and (d.pressure_kpa or 0.0) > OVER_OFF_KPA
        )
    ]
    warn = [
        d
        for d in drums
        if d not in over
        and d.pressure_kpa is not None
        and (
            d.pressure_kpa > WARN_KPA
            or (was(AlarmKind.PRESSURE, first.place_ref, d.tag) and d.pressure_kpa > WARN_OFF_KPA)
        )
    ]
    found = []
    if over:
        found.append(
            _pressure_finding(
                over,
                kind=AlarmKind.OVERPRESSURE,
                priority=Priority.CRITICAL,
                words=f"over {kpa(OVER_ON_KPA)}: do not open, do not move, call",
            )
        )
    if warn:
        found.append(
            _pressure_finding(
                warn,
                kind=AlarmKind.PRESSURE,
                priority=Priority.HIGH,
                words=(
                    "do not open or move: cool it where it stands, then vent slowly by the "
                    "small bung"
                ),
            )
        )
    return found


def _pressure_finding(
    drums: Sequence[DrumNow], *, kind: AlarmKind, priority: Priority, words: str
) -> Finding:
    first = drums[0]
    highest = max(d.pressure_kpa or 0.0 for d in drums)
    return Finding(
        kind=kind,
        cause=first.place_ref,
        site=first.site,
        place=first.place,
        priority=priority,
        audience=(MANAGER,),
        message=(
            f"Keep off {count(drums)} in {first.place_name}: computed pressure up to "
            f"{kpa(highest)}; {words}."
        ),
        drums=tags(drums),
    )


def vacuum(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Tell of drums that were sealed warm and pull a deep vacuum now that they are cold.

    It is a caution more than an alarm, so of low priority: the cold behind it is told by others.
    """
    first = drums[0]
    drawn = []
    for d in drums:
        held = was(AlarmKind.VACUUM, first.place_ref, d.tag)
        limit = VACUUM_OFF_KPA if held else VACUUM_ON_KPA
        if d.pressure_kpa is not None and d.pressure_kpa < limit and (d.supported or held):
            drawn.append(d)
    if not drawn:
        return []
    deepest = min(d.pressure_kpa or 0.0 for d in drawn)
    return [
        Finding(
            kind=AlarmKind.VACUUM,
            cause=first.place_ref,
            site=first.site,
            place=first.place,
            priority=Priority.LOW,
            audience=(MANAGER,),
            message=(
                f"Look {count(drawn)} in {first.place_name} over for dents before use: sealed warm "
                f"and now cold, computed at down to {kpa(deepest)}. Crack the small bung under dry "
                "gas, for it draws in the air around it."
            ),
            drums=tags(drawn),
        )
    ]
