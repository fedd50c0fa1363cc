"""Drums as they are stored: gassing, and the storage band."""

from collections.abc import Sequence
from typing import Final

from drumkeep.domain.alarm_rules.inputs import MANAGER, DrumNow, Was, count, tags
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.liquid_memory import DEAD_BAND_K
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
                f"agent leaves over {temperature(warm[0].limits.gassing_c)}; cool before opening, "
                "or vent slowly by the small bung."
            ),
            drums=tags(warm),
        )
    ]


def too_hot(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Tell of liquid over the product's maximum, in every kind of place and under any heater."""
    first = drums[0]
    cause = f"{first.place_ref} hot"
    hot = [
        d
        for d in drums
        if d.mean_c is not None
        and (
            (d.supported and d.mean_c > d.limits.maximum_c)
            or (
                was(AlarmKind.STORAGE_BAND, cause, d.tag)
                and d.mean_c > d.limits.maximum_c - DEAD_BAND_K
            )
        )
    ]
    if not hot:
        return []
    hottest = max(d.mean_c for d in hot if d.mean_c is not None)
    return [
        Finding(
            kind=AlarmKind.STORAGE_BAND,
            cause=cause,
            site=first.site,
            place=first.place,
            priority=Priority.HIGH,
            audience=(MANAGER,),
            message=(
                f"Stop heating {count(hot)} in {first.place_name}: computed at "
                f"{temperature(hottest)}, over the maximum of "
                f"{temperature(hot[0].limits.maximum_c)}; do not open or move, keep away, ask the "
                "supplier."
            ),
            drums=tags(hot),
        )
    ]


def storage(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Outside the storage band; what seeding and gassing say already is not said twice.

    A drum under a running heater is meant to be warmer, like one in a warm room: that it is over
    its maximum is told all the same, and cautions stay.
    """
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
        and not d.heated
    ]
    found = []
    if cold:
        edge = temperature(cold[0].limits.storage_low_c)
        words = (
            f"Warm {count(cold)} in {first.place_name}: below the storage band, which starts at "
            f"{edge}."
        )
        found.append(_outside(cold, cause=f"{first.place_ref} warm", words=words))
    if warm:
        edge = temperature(warm[0].limits.storage_high_c)
        words = (
            f"Cool {count(warm)} in {first.place_name}: above the storage band, which ends at "
            f"{edge}."
        )
        found.append(_outside(warm, cause=f"{first.place_ref} cool", words=words))
    return found


def _outside(drums: Sequence[DrumNow], *, cause: str, words: str) -> Finding:
    first = drums[0]
    return Finding(
        kind=AlarmKind.STORAGE_BAND,
        cause=cause,
        site=first.site,
        place=first.place,
        priority=Priority.MEDIUM,
        audience=(MANAGER,),
        message=words,
        drums=tags(drums),
    )
