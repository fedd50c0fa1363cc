"""Which drums a crew takes: oldest lot first, partials first, one lot a side where it can be."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from itertools import groupby
from typing import Final

MOST_SETS: Final = 40
LATEST: Final = timedelta(hours=96)
"""So far ahead the outlook is computed; of later times nothing can be promised."""

MOST_LOOKED_AT: Final = 500
"""Drums of a side that are computed ahead for one choice: it bounds the time that it takes."""

FRESH: Final = timedelta(minutes=30)
"""A drum that was computed longer ago than this is not known: the computing has stopped."""


class Hindrance(StrEnum):
    """Why a drum is not taken: its readiness, or what else stands against it."""

    ON_HOLD = "on_hold"
    UNKNOWN = "unknown"
    TOO_WARM = "too_warm"
    TOO_COLD = "too_cold"
    KEEP_SHUT = "keep_shut"
    """It may be fit to spray, and must not be opened."""
    LEAVES = "leaves"
    """It is ready now, and may have left its use band by then."""
    EXPIRES = "expires"
    STALE = "stale"
    LISTED = "listed"
    """It is on another open list."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A drum that might be taken.

    Attributes
    ----------
    drum_id, tag, place_id
        Which, and where it stands.
    lot_id, lot, made_on
        Its lot.
    fill
        How full it is, 0 to 1.
    net_kg
        What is in it.
    """

    drum_id: int
    tag: str
    place_id: int
    lot_id: int
    lot: str
    made_on: date
    fill: float
    net_kg: float

    @property
    def turn(self) -> tuple[date, str, float, str]:
        """Sorts by whose turn it is: of the oldest lot the emptiest."""
        return self.made_on, self.lot, self.fill, self.tag


@dataclass(frozen=True, slots=True)
class Turn:
    """A drum that might be ready in time, by its id and its lot's; sorted by whose turn it is."""

    drum_id: int
    lot_id: int


Ready = Callable[[Sequence[int], int], Sequence[Candidate]]
"""Gives of drums (ids in turn) the first so many that are ready; it asks no more than it needs."""


def pick(
    turns: Sequence[Turn], *, count: int, ready: Ready, lots: Iterable[int] = ()
) -> Sequence[Candidate]:
    """Pick drums of one product.

    The oldest lot that has enough by itself, so that a side holds one lot; where none has, lots
    are mixed, the oldest first.

    Parameters
    ----------
    turns
        Drums that might be ready in time.
    count
        How many are wanted.
    ready
        Tells which are.
    lots
        Lots that are on the list already: of these first.
    """
    kept = set(lots)
    if not kept:
        for _, some in groupby(turns, key=lambda turn: turn.lot_id):
            own = [turn.drum_id for turn in some]
            chosen = ready(own, count) if len(own) >= count else ()
            if len(chosen) == count:
                return chosen
    mixed = sorted(turns, key=lambda turn: turn.lot_id not in kept)
    return ready([turn.drum_id for turn in mixed], count)


def nearest(ready: Iterable[Candidate], *, lot_id: int, place_id: int | None) -> Candidate | None:
    """Return the drum to take instead of one: of its lot before others, in its place before others.

    Parameters
    ----------
    ready
        Drums of the same product on the same site.
    lot_id, place_id
        Of the drum that is not taken.
    """
    return min(
        ready,
        key=lambda drum: (drum.lot_id != lot_id, drum.place_id != place_id, drum.turn),
        default=None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """What a side lacks, and when that could be.

    Attributes
    ----------
    count
        Drums that are missing.
    ready
        How many of these are ready by now, and not on the list yet.
    waiting
        Drums that could be ready later, the missing ones or fewer.
    could_at
        When the last of these could be; None where nothing tells.
    warm_room
        Where they must be brought at once for that; None: where they stand.
    reasons
        Why the others are not ready, each with the number of drums.
    unlooked
        Drums that might be ready then and were not looked at, since there are too many.
    """

    count: int
    ready: int = 0
    waiting: int = 0
    could_at: datetime | None = None
    warm_room: str | None = None
    reasons: tuple[tuple[Hindrance, int], ...] = field(default=())
    unlooked: int = 0


def could_be(
    times: Sequence[tuple[datetime, str | None]], *, count: int
) -> tuple[int, datetime | None, str | None]:
    """Return how many of the missing drums could be ready, when the last, and in which warm room.

    Parameters
    ----------
    times
        When each other drum could be ready and, if it must be brought there, in which warm room.
    count
        How many are missing.
    """
    soonest = sorted(times, key=lambda one: one[0])[:count]
    if not soonest:
        return 0, None, None
    room = next((room for _, room in soonest if room is not None), None)
    return len(soonest), soonest[-1][0], room
