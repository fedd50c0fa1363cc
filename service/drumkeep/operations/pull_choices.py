"""The drums among which a pull list is picked: how each stands, what is missing, what instead."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from drumkeep.domain.grid import from_ms, step_at, to_ms
from drumkeep.domain.products import OutputClass
from drumkeep.domain.pulls import (
    FRESH,
    MOST_LOOKED_AT,
    Candidate,
    Hindrance,
    Missing,
    Turn,
    could_be,
    pick,
)
from drumkeep.domain.readiness import Answer, Readiness
from drumkeep.operations.pull_outlook import Standing, is_now, standings
from drumkeep.storage import pulls as rows
from drumkeep.storage.drums import StockRow, list_drums
from drumkeep.storage.pulls import Among, Unready
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 250
"""Drums that are read and judged together."""


def stand(tx: Tx, pull: Pull, drum_ids: Sequence[int], *, now: datetime) -> list[Standing]:
    """Return how drums stand for a list's time and output."""
    if not drum_ids:
        return []
    found = list_drums(tx, among=list(drum_ids), present=False, limit=None)
    return _judged(tx, pull, found, now=now)


def _judged(tx: Tx, pull: Pull, found: Sequence[StockRow], *, now: datetime) -> list[Standing]:
    output = OutputClass(pull.output)
    return standings(tx, rows=found, output=output, wanted_at=pull.wanted_at, now=now)


@dataclass
class Search:
    """A look for drums of one product for a list: in turn, and no further than it must.

    The database says which may be ready; these are judged some at a time until there are enough.
    At most ``MOST_LOOKED_AT`` are, so that it ends in time.
    """

    tx: Tx
    pull: Pull
    product_id: int
    now: datetime
    turns: Sequence[Turn] = ()
    judged: dict[int, Standing] = field(default_factory=dict)

    @property
    def among(self) -> Among:
        """Among which drums is chosen."""
        later = None if is_now(self.pull.wanted_at, now=self.now) else self.pull.wanted_at
        return Among(
            site_id=self.pull.site_id,
            product_id=self.product_id,
            output=self.pull.output,
            since=step_at(self.now - FRESH),
            by_ms=None if later is None else to_ms(later),
        )

    @property
    def unlooked(self) -> int:
        """How many that may be ready were not looked at, since there are too many."""
        return len(self.turns) - len(self.judged) if len(self.judged) >= MOST_LOOKED_AT else 0

    def pick(self, *, count: int, lots: Sequence[int]) -> Sequence[Candidate]:
        """Return the drums to take, of these lots first."""
        self.turns = rows.turns(self.tx, among=self.among)
        return pick(self.turns, count=count, lots=lots, ready=self.ready)

    def nearest(self, *, lot_id: int, place_id: int) -> Candidate | None:
        """Return the drum to take: of this lot before others, in this place before others."""
        self.turns = rows.turns(self.tx, among=self.among, near=(lot_id, place_id))
        return next(iter(self.ready([turn.drum_id for turn in self.turns], 1)), None)

    def ready(self, drum_ids: Sequence[int], count: int) -> list[Candidate]:
        """Return the first so many of some drums that are ready in time."""
        found: list[Candidate] = []
        for start in range(0, len(drum_ids), _AT_ONCE):
            some = drum_ids[start : start + _AT_ONCE]
            self._judge([one for one in some if one not in self.judged])
            standing = [self.judged[one] for one in some if one in self.judged]
            found += [one.candidate for one in standing if one.hindrance is None]
            if len(found) >= count:
                break
        return found[:count]

    def _judge(self, drum_ids: Sequence[int]) -> None:
        some = drum_ids[: MOST_LOOKED_AT - len(self.judged)]
        for one in stand(self.tx, self.pull, some, now=self.now):
            self.judged[one.row.drum.id] = one


def missing_of(
    tx: Tx, pull: Pull, product_id: int, *, count: int, lots: Sequence[int], now: datetime
) -> Missing:
    """Return what a side lacks beside drums of some lots, and when that could be there."""
    search = Search(tx, pull, product_id, now)
    ready = len(search.pick(count=count, lots=lots))
    left = count - ready
    failed = [one for one in search.judged.values() if one.hindrance is not None]
    times = [(one.could_at, one.could_in) for one in failed if one.could_at is not None]
    times += [(from_ms(ms), room) for ms, room in rows.soonest(tx, among=search.among, limit=left)]
    waiting, could_at, room = could_be(times, count=left)
    reasons = Counter(one.hindrance for one in failed if one.hindrance is not None)
    for group in rows.unready(tx, among=search.among):
        reasons[_hindrance(group)] += group.count
    reasons[Hindrance.LISTED] = rows.on_other_lists(tx, among=search.among, pull_id=pull.id)
    return Missing(
        count=count,
        ready=ready,
        waiting=waiting,
        could_at=could_at,
        warm_room=room,
        reasons=tuple((why, drums) for why, drums in reasons.most_common() if drums),
        unlooked=search.unlooked,
    )


def _hindrance(group: Unready) -> Hindrance:
    """Say what ``standings`` says of each drum of a group that cannot be ready in time."""
    if group.state is None:
        return Hindrance.UNKNOWN
    if not group.fresh:
        return Hindrance.STALE
    if group.answer == Answer.READY:
        return Hindrance.EXPIRES
    return Hindrance.KEEP_SHUT if group.state == Readiness.READY.value else Hindrance(group.state)


def instead_of(
    tx: Tx, pull: Pull, standing: Standing, *, now: datetime
) -> tuple[Candidate | None, int]:
    """Return the nearest ready drum of the same product that is on no list.

    And how many that may be ready were not looked at.
    """
    search = Search(tx, pull, standing.row.product.id, now)
    own = standing.candidate
    return search.nearest(lot_id=own.lot_id, place_id=own.place_id), search.unlooked
