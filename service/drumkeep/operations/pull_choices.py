"""The drums among which a pull list is picked: how each stands, what is missing, what instead."""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from drumkeep.domain.products import OutputClass
from drumkeep.domain.pulls import Candidate, Hindrance, Missing, could_be, nearest
from drumkeep.operations.pull_outlook import Standing, standings
from drumkeep.storage import pulls as rows
from drumkeep.storage.drums import StockRow, list_drums
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.transaction import Tx

LOOKED_AT: Final = 200
"""Drums of a side that are looked at, those whose turn comes first: it bounds the time it takes."""


def stand(tx: Tx, pull: Pull, drum_ids: Sequence[int], *, now: datetime) -> list[Standing]:
    """Return how drums stand for a list's time and output."""
    if not drum_ids:
        return []
    found = list_drums(tx, among=list(drum_ids), present=False, limit=None)
    return _judged(tx, pull, found, now=now)


def _judged(tx: Tx, pull: Pull, found: Sequence[StockRow], *, now: datetime) -> list[Standing]:
    output = OutputClass(pull.output)
    return standings(tx, rows=found, output=output, wanted_at=pull.wanted_at, now=now)


def others_of(tx: Tx, pull: Pull, product_id: int, *, now: datetime) -> tuple[list[Standing], int]:
    """Return the drums of a product that are on no open list, and how many are on one."""
    found = rows.stock_of(tx, site_id=pull.site_id, product_id=product_id, limit=LOOKED_AT)
    listed = rows.open_lists_of(tx, drum_ids=[row.drum.id for row in found])
    free = [row for row in found if row.drum.id not in listed]
    elsewhere = sum(other != pull.id for other in listed.values())
    return _judged(tx, pull, free, now=now), elsewhere


def missing_of(tx: Tx, pull: Pull, product_id: int, *, count: int, now: datetime) -> Missing:
    """Return what a side lacks, and when that could be there."""
    others, elsewhere = others_of(tx, pull, product_id, now=now)
    unready = [one for one in others if one.hindrance is not None]
    free = len(others) - len(unready)
    times = [(one.could_at, one.could_in) for one in unready if one.could_at is not None]
    waiting, could_at, room = could_be(times, count=max(count - free, 0))
    reasons = Counter(one.hindrance for one in unready if one.hindrance is not None)
    if elsewhere:
        reasons[Hindrance.LISTED] = elsewhere
    return Missing(
        count=count,
        ready=free,
        waiting=waiting,
        could_at=could_at,
        warm_room=room,
        reasons=tuple(reasons.most_common()),
    )


def instead_of(tx: Tx, pull: Pull, standing: Standing, *, now: datetime) -> Candidate | None:
    """Return the nearest ready drum of the same product that is on no list."""
    others, _ = others_of(tx, pull, standing.row.product.id, now=now)
    ready = [one.candidate for one in others if one.hindrance is None]
    own = standing.candidate
    return nearest(ready, lot_id=own.lot_id, place_id=own.place_id)
