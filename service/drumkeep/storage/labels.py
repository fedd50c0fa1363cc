"""Queries on labels that were printed."""

from collections.abc import Sequence

from sqlmodel import col, func, select

from drumkeep.storage.tables.labels import LabelPrint
from drumkeep.storage.transaction import Tx


def list_prints(
    tx: Tx,
    *,
    drum_id: int | None = None,
    place_id: int | None = None,
    after: int = 0,
    limit: int = 200,
) -> Sequence[LabelPrint]:
    """Return what was printed past the id ``after``, for one drum or place if asked."""
    statement = select(LabelPrint).where(col(LabelPrint.id) > after)
    if drum_id is not None:
        statement = statement.where(LabelPrint.drum_id == drum_id)
    if place_id is not None:
        statement = statement.where(LabelPrint.place_id == place_id)
    return tx.session.exec(statement.order_by(col(LabelPrint.id)).limit(limit)).all()


def copies_of_drums(tx: Tx, *, ids: Sequence[int]) -> dict[int, int]:
    """Return how many labels each drum has had; those without have no entry."""
    of = col(LabelPrint.drum_id)
    statement = select(of, func.count()).where(of.in_(ids)).group_by(of)
    return {drum_id: count for drum_id, count in tx.session.exec(statement) if drum_id is not None}


def copies_of_places(tx: Tx, *, ids: Sequence[int]) -> dict[int, int]:
    """Return how many labels each place has had; those without have no entry."""
    of = col(LabelPrint.place_id)
    statement = select(of, func.count()).where(of.in_(ids)).group_by(of)
    return {there: count for there, count in tx.session.exec(statement) if there is not None}
