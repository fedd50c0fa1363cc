"""Which drums must be computed, from when on, and in what order."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, auto
from typing import Final

from drumkeep.domain.grid import STEP_MS, from_ms, step_at, to_ms
from drumkeep.operations.donors import with_poured_on
from drumkeep.operations.ground import read_ground
from drumkeep.operations.surroundings import swayed_by
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import place_marks
from drumkeep.storage.place_marks import Mark
from drumkeep.storage.transaction import Tx

AT_ONCE: Final = 2000
"""Drums in one computation: bounds its memory."""

TRIED_AGAIN_STEPS: Final = 3
"""A drum that could not be computed is tried again a quarter of an hour later."""


@dataclass(frozen=True)
class Due:
    """What must be computed.

    Attributes
    ----------
    step
        The grid step up to which.
    since
        From when on (epoch ms) the past of each drum changed; None for "only onward".
    own
        Drums whose change is their own, or that of liquid poured into them, and not their place's.
    faulty
        Drums that could not be computed the last time.
    site_of
        Where each drum is, by site id.
    marks
        Place marks that are settled when all of these are stored.
    """

    step: int
    since: Mapping[int, int | None]
    own: frozenset[int]
    faulty: frozenset[int]
    site_of: Mapping[int, int]
    marks: Sequence[Mark]

    def portions(self) -> Iterator[dict[int, int | None]]:
        """Yield computations of bounded size.

        First what people wait for: drums that something happened to. Then those whose air became
        known, the latest first and those of like start together; then what only goes onward; and
        by themselves those that may fail. Site by site within each, so that one after the other is
        done with.
        """
        queue: dict[_Turn, dict[tuple[int, int, int], int]] = {turn: {} for turn in _Turn}
        for drum_id, start in self.since.items():
            back = 0 if start is None else max(self.step - start // STEP_MS, 0).bit_length()
            queue[self._turn(drum_id)][back, self.site_of[drum_id], drum_id] = drum_id
        for waiting in queue.values():
            ids = [waiting[key] for key in sorted(waiting)]
            for i in range(0, len(ids), AT_ONCE):
                yield {drum_id: self.since[drum_id] for drum_id in ids[i : i + AT_ONCE]}

    def _turn(self, drum_id: int) -> "_Turn":
        if drum_id in self.faulty:
            return _Turn.FAULTY
        if drum_id in self.own:
            return _Turn.OWN
        return _Turn.ONWARD if self.since[drum_id] is None else _Turn.AIR


class _Turn(Enum):
    """Whose turn it is, in this order."""

    OWN = auto()
    AIR = auto()
    ONWARD = auto()
    FAULTY = auto()


def due(tx: Tx, *, now: datetime) -> Due:
    """Return what must be computed.

    Every present drum is due once the grid has moved past its state; drums whose past changed are
    due from that time. One that could not be computed is left alone for a while.
    """
    step = step_at(now)
    marks = place_marks.standing(tx)
    since: dict[int, int | None] = dict.fromkeys(drum_rows.behind(tx, step=step))
    own = {drum.id: drum.from_ms for drum in drum_rows.marked(tx)}
    since |= own
    faulty = drum_rows.set_aside(tx)
    swayed = _swayed(tx, marks=marks, now=now) if marks else {}
    for drum_id, start in swayed.items():
        before = since.get(drum_id)
        since[drum_id] = start if before is None else min(before, start)
    for drum_id, tried in faulty.items():
        if drum_id not in swayed and tried > step - TRIED_AGAIN_STEPS:
            since.pop(drum_id, None)
    whole = with_poured_on(tx, since=since)
    return Due(
        step=step,
        since=whole,
        own=frozenset(one for one in whole if one in own or one not in since),
        faulty=frozenset(faulty),
        site_of=drum_rows.sites_of(tx, drum_ids=list(whole)),
        marks=marks,
    )


def _swayed(tx: Tx, *, marks: Sequence[Mark], now: datetime) -> dict[int, int]:
    """Return the drums that were where new readings tell of the air, and from when on (ms)."""
    places = swayed_by(
        tx,
        ground=read_ground(tx, around=[mark.place_id for mark in marks]),
        from_ms={mark.place_id: mark.from_ms for mark in marks},
        to_ms=to_ms(now),
    )
    earliest = from_ms(min(places.values()))
    found: dict[int, int] = {}
    for stay in drum_rows.stays_touching(tx, place_ids=list(places), since=earliest):
        changed = places[stay.place_id]
        if stay.until is None or to_ms(stay.until) >= changed:
            start = max(changed, to_ms(stay.since))
            found[stay.drum_id] = min(start, found.get(stay.drum_id, start))
    return found
