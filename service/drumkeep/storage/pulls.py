"""Queries on pull lists, and on the drums that might stand on one."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import Select
from sqlalchemy import select as select_rows
from sqlmodel import col, select

from drumkeep.storage.drums import StockRow, list_drums
from drumkeep.storage.tables.catalogue import Lot, Place
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.pulls import Pull, PullDrum
from drumkeep.storage.transaction import Tx


def pull_by_id(tx: Tx, *, pull_id: int) -> Pull | None:
    """Return a list."""
    return tx.session.get(Pull, pull_id)


def pull_by_client(tx: Tx, *, client_id: UUID) -> Pull | None:
    """Return the list that a client made under this id."""
    return tx.session.exec(select(Pull).where(Pull.client_id == client_id)).one_or_none()


def pulls(tx: Tx, *, open_only: bool, before: int | None = None, limit: int) -> Sequence[Pull]:
    """Return lists, the latest first, before an id if asked."""
    statement = select(Pull)
    if open_only:
        statement = statement.where(col(Pull.closed_at).is_(None))
    if before is not None:
        statement = statement.where(Pull.id < before)
    return tx.session.exec(statement.order_by(col(Pull.id).desc()).limit(limit)).all()


def drums_on(tx: Tx, *, pull_ids: Sequence[int]) -> Sequence[PullDrum]:
    """Return what stands on lists, in the order of picking."""
    return tx.session.exec(
        select(PullDrum)
        .where(col(PullDrum.pull_id).in_(pull_ids), col(PullDrum.left_at).is_(None))
        .order_by(col(PullDrum.id))
    ).all()


def lists_of(tx: Tx, *, drum_ids: Sequence[int]) -> list[tuple[PullDrum, Pull]]:
    """Return on which lists drums stand or stood, unless others took their place; oldest first."""
    statement = (
        select(PullDrum, Pull)
        .join(Pull, col(Pull.id) == col(PullDrum.pull_id))
        .where(col(PullDrum.drum_id).in_(drum_ids), col(PullDrum.left_at).is_(None))
        .order_by(col(PullDrum.id))
    )
    return list(tx.session.exec(statement).all())


def open_lists_of(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, int]:
    """Return on which open list drums stand, by drum id."""
    rows = tx.session.exec(
        select(PullDrum.drum_id, PullDrum.pull_id)
        .join(Pull, col(Pull.id) == col(PullDrum.pull_id))
        .where(
            col(Pull.closed_at).is_(None),
            col(PullDrum.left_at).is_(None),
            col(PullDrum.drum_id).in_(drum_ids),
        )
    )
    return dict(rows.all())


def on_open_lists() -> Select[Any]:
    """Return the ids of all drums on open lists."""
    return (
        select_rows(col(PullDrum.drum_id))
        .join(Pull, col(Pull.id) == col(PullDrum.pull_id))
        .where(col(Pull.closed_at).is_(None), col(PullDrum.left_at).is_(None))
    )


def stock_of(tx: Tx, *, site_id: int, product_id: int, limit: int) -> list[StockRow]:
    """Return present drums of a product on a site: those whose turn comes first."""
    first = (
        select_rows(col(Drum.id))
        .join(Place, col(Place.id) == col(Drum.place_id))
        .join(Lot, col(Lot.id) == col(Drum.lot_id))
        .where(
            col(Drum.ended).is_(None),
            col(Place.site_id) == site_id,
            col(Lot.product_id) == product_id,
        )
        .order_by(col(Lot.made_on), col(Lot.code), col(Drum.net_kg), col(Drum.tag))
        .limit(limit)
    )
    return list_drums(tx, among=list(tx.session.execute(first).scalars()), limit=None)
