"""Iso that seeds: in a place, and in a load that sat, sits or will sit cold."""

from collections.abc import Sequence
from typing import Final

from drumkeep.domain.alarm_rules.inputs import DISPATCHER, MANAGER, DrumNow, Was, count
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.grid import STEPS_PER_HOUR, moment_of
from drumkeep.domain.liquid_memory import DEAD_BAND_K
from drumkeep.domain.liquid_state import NEVER
from drumkeep.domain.places import LOAD_KINDS, PlaceKind
from drumkeep.domain.products import Side
from drumkeep.domain.wording import moment, temperature

DELAY_STEPS: Final = 2
"""10 minutes on the five-minute grid."""

SAT_COLD_STEPS: Final = 2 * STEPS_PER_HOUR
SAT_COLD_HOURS: Final = 2.0


def cold(drums: Sequence[DrumNow], *, was: Was) -> list[Finding]:
    """Iso under its seeding limit, now or within 12 h; for a load: sat, sits or will sit cold."""
    first = drums[0]
    load = first.place_kind in LOAD_KINDS
    kind = AlarmKind.COLD_LOAD if load else AlarmKind.SEEDING
    iso = [d for d in drums if d.side is Side.ISO]
    sat = [d for d in iso if load and d.cold_steps >= SAT_COLD_STEPS]
    # A drum of unknown temperature raises nothing new; that it is not known ends nothing either.
    told = [d for d in iso if d.supported or was(kind, first.place_ref, d.tag)]
    now = [d for d in told if d.seed_since != NEVER and d.step - d.seed_since >= DELAY_STEPS]
    coming = [
        d
        for d in told
        if d not in now
        and (
            d.seeds_at is not None
            or (
                was(kind, first.place_ref, d.tag)
                and d.lowest_c is not None
                and d.lowest_c <= d.limits.seed_c + DEAD_BAND_K
            )
        )
    ]
    members = {d.tag: d for d in (*sat, *now, *coming)}
    if not members:
        return []
    audience = (DISPATCHER,) if load else (MANAGER,)
    deadlines = [d.seeds_at for d in coming if d.seeds_at is not None]
    phase = "done" if sat else "now" if now else "forecast"
    return [
        Finding(
            kind=kind,
            cause=first.place_ref,
            site=first.site,
            place=first.place,
            priority=Priority.HIGH,
            audience=audience,
            message=_cold_words(sat=sat, now=now, coming=coming),
            drums=tuple(sorted(members)),
            phase=phase,
            deadline=min(deadlines) if phase == "forecast" and deadlines else None,
        )
    ]


def _cold_words(
    *, sat: Sequence[DrumNow], now: Sequence[DrumNow], coming: Sequence[DrumNow]
) -> str:
    first = (*sat, *now, *coming)[0]
    limit = temperature(first.limits.seed_c)
    warm = first.place_kind is PlaceKind.WARM_ROOM
    if sat:
        hours = max(d.cold_steps for d in sat) / STEPS_PER_HOUR
        words = (
            f"Look into {count(sat)} in {first.place_name} before use: that load sat cold, "
            f"{hours:.0f} h under {limit} at the bottom."
        )
        return f"{words} Bring it in: it is still cold." if now else words
    if now:
        since = moment_of(min(d.seed_since for d in now))
        do = (
            f"Keep {count(now)} in {first.place_name} and check that it heats"
            if warm
            else f"Bring {count(now)} in from {first.place_name}"
        )
        return f"{do}: the lowest liquid is under {limit} since {moment(since)}."
    times = [d.seeds_at for d in coming if d.seeds_at is not None]
    if not times:
        return (
            f"Keep an eye on {count(coming)} in {first.place_name}: the lowest liquid stays just "
            f"above {limit}."
        )
    sits = max(d.cold_hours for d in coming) >= SAT_COLD_HOURS
    do = (
        f"Check that {first.place_name} heats {count(coming)}"
        if warm
        else f"Bring {count(coming)} in from {first.place_name}"
    )
    words = f"{do} before {moment(min(times))}: the lowest liquid reaches {limit}."
    if sits and first.place_kind in LOAD_KINDS:
        return f"{words} It will sit cold if nothing changes."
    return words
