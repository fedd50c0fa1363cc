"""Counting what stands in a place, and how that may differ from the records."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

NOT_FOUND: Final = "not found in count"
"""Why a drum is put on hold that a count missed."""


class DifferenceKind(StrEnum):
    """How what was seen differs from what is on record."""

    ELSEWHERE = "elsewhere"
    """It was seen here, and is on record in another place."""
    NOT_SEEN = "not_seen"
    """It is on record here, and was not seen."""
    UNKNOWN_TAG = "unknown_tag"
    """A good tag that no drum on record bears."""
    GONE = "gone"
    """It was seen here, and is on record as emptied or disposed of."""


class Mend(StrEnum):
    """What a person does about a difference."""

    MOVE_HERE = "move_here"
    HOLD_MISSING = "hold_missing"
    LEAVE = "leave"


MENDS: Final[Mapping[DifferenceKind, tuple[Mend, ...]]] = {
    DifferenceKind.ELSEWHERE: (Mend.MOVE_HERE, Mend.LEAVE),
    DifferenceKind.NOT_SEEN: (Mend.HOLD_MISSING, Mend.LEAVE),
    DifferenceKind.UNKNOWN_TAG: (Mend.LEAVE,),
    DifferenceKind.GONE: (Mend.LEAVE,),
}
"""An unknown drum is received, an emptied one's record corrected: each on its own page."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A drum as the records have it; ``place`` is the last once it is ``gone``."""

    drum_id: int
    tag: str
    place: int
    gone: bool


@dataclass(frozen=True, slots=True)
class Difference:
    """One drum that is not as the records have it; ``kept`` None for a tag of no drum."""

    kind: DifferenceKind
    tag: str
    kept: Kept | None


def differences(seen: Iterable[str], *, kept: Mapping[str, Kept], place: int) -> list[Difference]:
    """Compare what was seen in a place with the records.

    Parameters
    ----------
    seen
        Tags that were seen.
    kept
        By tag: every drum that was seen, and every one on record in the place.
    place
        The place.
    """
    found = []
    there = set(seen)
    for tag in sorted(there):
        one = kept.get(tag)
        if one is None:
            found.append(Difference(DifferenceKind.UNKNOWN_TAG, tag, None))
        elif one.gone:
            found.append(Difference(DifferenceKind.GONE, tag, one))
        elif one.place != place:
            found.append(Difference(DifferenceKind.ELSEWHERE, tag, one))
    found += [
        Difference(DifferenceKind.NOT_SEEN, tag, one)
        for tag, one in sorted(kept.items())
        if tag not in there and one.place == place and not one.gone
    ]
    return found
