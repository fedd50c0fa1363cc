"""Queries on prices."""

from collections.abc import Sequence

from sqlmodel import col, func, select

from drumkeep.storage.tables.prices import Price
from drumkeep.storage.transaction import Tx


def latest(tx: Tx) -> list[Price]:
    """Return what was said last of each product and of each lot that was given a price."""
    last = select(func.max(Price.id)).group_by(col(Price.product_id), col(Price.lot_id))
    return list(tx.session.exec(select(Price).where(col(Price.id).in_(last))).all())


def of_product(tx: Tx, *, product_id: int, lot_id: int | None) -> Sequence[Price]:
    """Return all that was said of a product, or of one lot of it, latest first."""
    same = col(Price.lot_id).is_(None) if lot_id is None else col(Price.lot_id) == lot_id
    statement = select(Price).where(Price.product_id == product_id, same)
    return tx.session.exec(statement.order_by(col(Price.id).desc())).all()
