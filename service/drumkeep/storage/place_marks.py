"""From when on the drums of a place must be computed again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import update
from sqlmodel import col, select

from drumkeep.storage.tables.readings import PlaceMark
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class Mark:
    """A place whose drums must be computed again from ``from_ms``, as of mark number ``seq``."""

    place_id: int
    from_ms: int
    seq: int


def lower(tx: Tx, *, from_ms: Mapping[int, int]) -> None:
    """Mark places; an earlier mark that stands stays.

    Parameters
    ----------
    from_ms
        Epoch ms by place id.
    """
    marks = tx.session.exec(
        select(PlaceMark).where(col(PlaceMark.place_id).in_(from_ms)).with_for_update()
    ).all()
    for mark in marks:
        since = from_ms[mark.place_id]
        mark.from_ms = since if mark.from_ms is None else min(mark.from_ms, since)
        mark.seq += 1
    known = {mark.place_id for mark in marks}
    tx.session.add_all(
        PlaceMark(place_id=place_id, from_ms=since, seq=1)
        for place_id, since in from_ms.items()
        if place_id not in known
    )
    tx.session.flush()


def standing(tx: Tx, *, limit: int = 1000) -> Sequence[Mark]:
    """Return the marks that stand, the earliest time first."""
    statement = (
        select(PlaceMark.place_id, PlaceMark.from_ms, PlaceMark.seq)
        .where(col(PlaceMark.from_ms).is_not(None))
        .order_by(col(PlaceMark.from_ms))
        .limit(limit)
    )
    return [
        Mark(place_id, from_ms, seq)
        for place_id, from_ms, seq in tx.session.exec(statement)
        if from_ms is not None
    ]


def settle(tx: Tx, *, marks: Sequence[Mark]) -> None:
    """Take marks away whose drums are computed; one that was set again since stays."""
    for mark in marks:
        tx.session.exec(
            update(PlaceMark)
            .where(col(PlaceMark.place_id) == mark.place_id, col(PlaceMark.seq) == mark.seq)
            .values(from_ms=None)
        )
