"""Iso that may sweat while it is open, or when it is to be opened.

Every cold drum in a warm shop sweats, and a tight one takes no harm; its page says to keep it shut.
So the alarm is for drums that are open with no dry gas on record, and for those wanted within half
a day: somebody is about to open them.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import CREW, MANAGER, DrumNow, Was, count, tags
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.condensation import CLEAR_MARGIN_K, DEW_MARGIN_K
from drumkeep.domain.products import Side
from drumkeep.domain.wording import moment

WANTED_WITHIN: Final = timedelta(hours=12)


def condensation(drums: Sequence[DrumNow], *, was: Was, now: datetime) -> list[Finding]:
    """Tell of iso that sweats in a place and is open, or is wanted within 12 h."""
    first = drums[0]
    wet = [d for d in drums if d.side is Side.ISO and _sweats(d, was=was)]
    bare = [d for d in wet if d.open_since is not None]
    soon = [
        d
        for d in wet
        if d not in bare and d.wanted_at is not None and now < d.wanted_at <= now + WANTED_WITHIN
    ]
    if not bare and not soon:
        return []
    times = [d.wanted_at for d in soon if d.wanted_at is not None]
    return [
        Finding(
            kind=AlarmKind.CONDENSATION,
            cause=first.place_ref,
            site=first.site,
            place=first.place,
            priority=Priority.HIGH if bare else Priority.MEDIUM,
            audience=(CREW, MANAGER),
            message=_words(bare=bare, soon=soon, first_wanted=min(times, default=None)),
            drums=tags([*bare, *soon]),
            phase="now" if bare else "forecast",
            deadline=None if bare else min(times, default=None),
        )
    ]


def _sweats(drum: DrumNow, *, was: Was) -> bool:
    margin = drum.dew_margin_k
    if margin is None:
        return False
    held = was(AlarmKind.CONDENSATION, drum.place_ref, drum.tag)
    return margin < (CLEAR_MARGIN_K if held else DEW_MARGIN_K)


def _words(
    *, bare: Sequence[DrumNow], soon: Sequence[DrumNow], first_wanted: datetime | None
) -> str:
    first = (*bare, *soon)[0]
    humidity = f"{first.humidity or 0.0:.0f}"
    air = f"the steel may sweat in this air ({humidity} % humidity, measured)"
    if first.humidity_assumed:
        air = f"the steel may sweat in this air ({humidity} % humidity, assumed)"
    if bare:
        words = (
            f"Put dry gas on {count(bare)} open in {first.place_name}, or reseal: {air}, and water "
            "makes gas in iso."
        )
        return f"{words} Warm {count(soon)} more before opening." if soon else words
    return (
        f"Warm {count(soon)} in {first.place_name} shut before opening, wanted "
        f"{moment(first_wanted or first.expires_at)}: {air}."
    )
