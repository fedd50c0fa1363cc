"""Queries on consumables."""

from collections.abc import Sequence
from uuid import UUID

from sqlmodel import col, func, select

from drumkeep.storage.tables.consumables import Consumable, ConsumableEntry
from drumkeep.storage.transaction import Tx


def kept(tx: Tx, *, place_id: int | None = None) -> Sequence[Consumable]:
    """Return what is kept, of one place if asked; what was dropped is left out."""
    statement = select(Consumable).where(col(Consumable.dropped_at).is_(None))
    if place_id is not None:
        statement = statement.where(Consumable.place_id == place_id)
    return tx.session.exec(statement.order_by(col(Consumable.place_id), col(Consumable.name))).all()


def by_id(tx: Tx, *, consumable_id: int) -> Consumable | None:
    """Return one of them, dropped or not."""
    return tx.session.get(Consumable, consumable_id)


def by_name(tx: Tx, *, place_id: int, name: str) -> Consumable | None:
    """Return what is called so in a place, dropped or not."""
    statement = select(Consumable).where(Consumable.place_id == place_id, Consumable.name == name)
    return tx.session.exec(statement).one_or_none()


def entry_by_id(tx: Tx, *, entry_id: UUID) -> ConsumableEntry | None:
    """Return the entry that a client made under this id."""
    return tx.session.exec(
        select(ConsumableEntry).where(ConsumableEntry.id == entry_id)
    ).one_or_none()


def last_entries(tx: Tx) -> dict[int, ConsumableEntry]:
    """Return the last entry of each, by its id."""
    last = select(func.max(ConsumableEntry.seq)).group_by(col(ConsumableEntry.consumable_id))
    rows = tx.session.exec(select(ConsumableEntry).where(col(ConsumableEntry.seq).in_(last))).all()
    return {row.consumable_id: row for row in rows}


def last_entry(tx: Tx, *, consumable_id: int) -> ConsumableEntry | None:
    """Return the last entry of one."""
    return tx.session.exec(
        select(ConsumableEntry)
        .where(ConsumableEntry.consumable_id == consumable_id)
        .order_by(col(ConsumableEntry.seq).desc())
        .limit(1)
    ).one_or_none()


def entries(tx: Tx, *, consumable_id: int, limit: int) -> Sequence[ConsumableEntry]:
    """Return the entries of one, latest first."""
    return tx.session.exec(
        select(ConsumableEntry)
        .where(ConsumableEntry.consumable_id == consumable_id)
        .order_by(col(ConsumableEntry.seq).desc())
        .limit(limit)
    ).all()
