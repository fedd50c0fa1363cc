"""Drums as they are stored: gassing, and the storage band."""

from collections.abc import Sequence
from typing import Final

from drumkeep.domain.alarm_rules.inputs import MANAGER, DrumNow, Was, count, tags
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.liquid_state import NEVER
from drumkeep.domain.places import STORAGE_KINDS
from drumkeep.domain.products import Side
from drumkeep.domain.wording import temperature

DELAY_STEPS: Final = 6
"""30 minutes on the five-minute grid."""


def gassing(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Resin warm for half an hour where it is stored; elsewhere it is a caution only."""
    first = drums[0]
    if first.place_kind not in STORAGE_KINDS:
        return []
    warm = [
        d
        for d in drums
        if d.side is Side.RESIN
        and (d.supported or was(AlarmKind.GASSING, first.place_ref, d.tag))
        and d.gas_since != NEVER
        and d.step - d.gas_since >= DELAY_STEPS
    ]
    if not warm:
        return []
    hottest = max(d.mean_c for d in warm if d.mean_c is not None)
    return [
        Finding(
            kind=AlarmKind.GASSING,
            cause=first.place_ref,
            site=first.site,
            place=first.place,
            priority=Priority.MEDIUM,
            audience=(MANAGER,),
            message=(
                f"Cool {count(warm)} in {first.place_name}: at {temperature(hottest)} blowing "
                f"agent leaves over {temperature(warm[0].limits.gassing_c)}; do not open warm."
            ),
            drums=tags(warm),
        )
    ]


def storage(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Outside the storage band; what seeding and gassing say already is not said twice."""
    first = drums[0]
    if first.place_kind not in STORAGE_KINDS:
        return []

    def steady(d: DrumNow, since: int, *, verb: str) -> bool:
        told = d.supported or was(AlarmKind.STORAGE_BAND, f"{first.place_ref} {verb}", d.tag)
        return told and since != NEVER and d.step - since >= DELAY_STEPS

    cold = [
        d
        for d in drums
        if steady(d, d.below_since, verb="warm")
        and not (d.side is Side.ISO and d.seed_since != NEVER)
    ]
    warm = [
        d
        for d in drums
        if steady(d, d.above_since, verb="cool")
        and not (d.side is Side.RESIN and d.gas_since != NEVER)
    ]
    found = []
    for some, verb, limit in (
        (cold, "Warm", "below the storage band, which starts at"),
        (warm, "Cool", "above the storage band, which ends at"),
    ):
        if some:
            edge = some[0].limits.storage_low_c if some is cold else some[0].limits.storage_high_c
            found.append(
                Finding(
                    kind=AlarmKind.STORAGE_BAND,
                    cause=f"{first.place_ref} {verb.lower()}",
                    site=first.site,
                    place=first.place,
                    priority=Priority.MEDIUM,
                    audience=(MANAGER,),
                    message=(
                        f"{verb} {count(some)} in {first.place_name}: {limit} {temperature(edge)}."
                    ),
                    drums=tags(some),
                )
            )
    return found
