"""Queries on what trade item numbers stand for, and on drums that came in one delivery."""

from collections.abc import Sequence
from uuid import UUID

from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Product
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.tables.trade_items import TradeItem
from drumkeep.storage.transaction import Tx


def item(tx: Tx, *, gtin: str) -> TradeItem | None:
    """Return what a GTIN, 14 digits, was said to be."""
    return tx.session.get(TradeItem, gtin)


def product_of(tx: Tx, *, gtin: str) -> Product | None:
    """Return the product that a GTIN stands for."""
    statement = select(Product).join(TradeItem).where(TradeItem.gtin == gtin)
    return tx.session.exec(statement).one_or_none()


def list_items(tx: Tx) -> Sequence[tuple[TradeItem, Product]]:
    """Return all trade items with their products, by number."""
    statement = select(TradeItem, Product).join(Product).order_by(col(TradeItem.gtin))
    return list(tx.session.exec(statement).all())


def received_under(tx: Tx, *, ids: Sequence[UUID]) -> list[tuple[Drum, Event]]:
    """Return the drums that were received by these events, in the order of recording."""
    statement = (
        select(Drum, Event)
        .join(Event, col(Event.drum_id) == col(Drum.id))
        .where(col(Event.id).in_(ids))
        .order_by(col(Event.seq))
    )
    return list(tx.session.exec(statement).all())
