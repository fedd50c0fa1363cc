"""Queries on drums that came in one go."""

from collections.abc import Sequence
from uuid import UUID

from sqlmodel import col, select

from drumkeep.storage.tables.deliveries import Delivery, DeliveryDrum
from drumkeep.storage.transaction import Tx


def by_key(tx: Tx, *, key: UUID) -> Delivery | None:
    """Return the delivery of this client's UUID."""
    return tx.session.exec(select(Delivery).where(Delivery.key == key)).one_or_none()


def add(tx: Tx, *, delivery: Delivery, drum_ids: Sequence[int]) -> Delivery:
    """Store a delivery with its drums."""
    tx.session.add(delivery)
    tx.session.flush()
    for drum_id in drum_ids:
        tx.session.add(DeliveryDrum(drum_id=drum_id, delivery_id=delivery.id))
    tx.session.flush()
    return delivery


def of_drums(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, Delivery]:
    """Return the deliveries that drums came with, by drum id; some came with none."""
    rows = tx.session.exec(
        select(DeliveryDrum.drum_id, Delivery)
        .join(Delivery, col(Delivery.id) == col(DeliveryDrum.delivery_id))
        .where(col(DeliveryDrum.drum_id).in_(drum_ids))
    ).all()
    return dict(rows)
