"""From when on the drums of a place must be computed again."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import update
from sqlmodel import col, select

from drumkeep.storage.bulk import insert, keyed
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
    insert(
        tx,
        into="place_mark (place_id, from_ms, seq)",
        types=("int4", "int8", "int4"),
        rows=[(place_id, since, 1) for place_id, since in sorted(from_ms.items())],
        on_conflict="(place_id) DO UPDATE SET seq = place_mark.seq + 1, "
        "from_ms = CASE WHEN place_mark.from_ms < excluded.from_ms THEN place_mark.from_ms "
        "ELSE excluded.from_ms END",
    )


def standing(tx: Tx) -> Sequence[Mark]:
    """Return the marks that stand, the earliest time first."""
    statement = (
        select(PlaceMark.place_id, PlaceMark.from_ms, PlaceMark.seq)
        .where(col(PlaceMark.from_ms).is_not(None))
        .order_by(col(PlaceMark.from_ms))
    )
    return [
        Mark(place_id, from_ms, seq)
        for place_id, from_ms, seq in tx.session.exec(statement)
        if from_ms is not None
    ]


def settle(tx: Tx, *, marks: Sequence[Mark]) -> None:
    """Take marks away whose drums are computed; one that was set again since stays."""
    taken = update(PlaceMark).values(from_ms=None)
    by_seq: dict[int, list[int]] = defaultdict(list)
    for mark in marks:
        by_seq[mark.seq].append(mark.place_id)
    for seq, place_ids in by_seq.items():
        these = keyed(tx.session.connection(), col(PlaceMark.place_id), place_ids)
        tx.session.exec(taken.where(these, col(PlaceMark.seq) == seq))
