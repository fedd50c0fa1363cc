"""What a supplier answers for: solids, a skin or a bulge in a drum as it came.

A finding counts when it was made on arrival, before the drum was ever opened, or while it was open
for the first time, and nothing had been poured into it by then. Whether the drum had been kept as
it should until then is for the temperature record to show, which goes with the claim.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final

from drumkeep.domain.events import DrumEvent, EventKind

ARRIVAL: Final = timedelta(hours=24)
"""After the receipt a look still counts as one on arrival."""

FIRST_OPENING: Final = timedelta(hours=24)
"""A drum that was opened for the first time and that nobody resealed is open no longer."""

_FOUND: Final = ("solids", "skin", "bulge")
_INSIDE: Final = ("solids", "skin")
"""What can only be seen in an open drum."""


class When(StrEnum):
    """When something was found."""

    ARRIVAL = "arrival"
    UNOPENED = "unopened"
    FIRST_OPENING = "first_opening"


class ClaimState(StrEnum):
    """What became of a claim."""

    OPEN = "open"
    SENT = "sent"
    SETTLED = "settled"


@dataclass(frozen=True, slots=True)
class SupplierFinding:
    """What one look found, when; ``what`` of solids, skin and bulge."""

    event: DrumEvent
    what: tuple[str, ...]
    when: When


def supplier_findings(events: Sequence[DrumEvent]) -> list[SupplierFinding]:
    """Return what was found in a drum as it came.

    Parameters
    ----------
    events
        Effective events of one drum in order (``domain.events.effective``).
    """
    received = next((event.at for event in events if event.kind is EventKind.RECEIVED), None)
    if received is None:
        return []
    found = []
    opened: datetime | None = None
    for event in events:
        if event.kind is EventKind.TOPPED or _over(event, opened=opened):
            break
        if event.kind is EventKind.OPENED:
            opened = opened or event.at
        if event.kind is not EventKind.INSPECTED:
            continue
        what = tuple(name for name in _FOUND if event.data.get(name) == "seen")
        if event.at - received <= ARRIVAL and opened is None:
            when = When.ARRIVAL
        elif opened is None and not _looked_inside(event):
            when = When.UNOPENED
        else:
            when = When.FIRST_OPENING
        if _looked_inside(event):
            opened = opened or event.at
        if what:
            found.append(SupplierFinding(event, what, when))
    return found


def _over(event: DrumEvent, *, opened: datetime | None) -> bool:
    """Whether the first opening has ended by the time of an event."""
    if opened is None:
        return False
    return event.kind is EventKind.RESEALED or event.at - opened > FIRST_OPENING


def _looked_inside(event: DrumEvent) -> bool:
    return bool(event.data.get("reached_bottom")) or any(
        event.data.get(name) is not None for name in _INSIDE
    )


def checksum(record: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a record: of its JSON with sorted keys and no spaces, in UTF-8."""
    text = json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return sha256(text.encode()).hexdigest()
