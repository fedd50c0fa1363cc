"""Queries on where lots went, and on what was where."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import col, or_, select

from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.tables.drums import Drum, Pour, Stay
from drumkeep.storage.transaction import Tx


def drums_of_lot(tx: Tx, *, lot_id: int) -> Sequence[int]:
    """Return the ids of all drums of a lot, gone ones too, as they came."""
    return tx.session.exec(
        select(Drum.id).where(Drum.lot_id == lot_id).order_by(col(Drum.id))
    ).all()


def stays_at(tx: Tx, *, place_ids: Sequence[int], start: datetime, end: datetime) -> Sequence[Stay]:
    """Return the stays of drums in places that touch a span of time, in order."""
    return tx.session.exec(
        select(Stay)
        .where(
            col(Stay.place_id).in_(place_ids),
            col(Stay.origin).is_(False),
            col(Stay.since) < end,
            or_(col(Stay.until).is_(None), col(Stay.until) > start),
        )
        .order_by(col(Stay.since), col(Stay.id))
    ).all()


def pours_from(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Pour]:
    """Return what was ever poured out of drums into others."""
    return tx.session.exec(
        select(Pour).where(col(Pour.donor_id).in_(drum_ids)).order_by(col(Pour.at))
    ).all()


def alarms_of(
    tx: Tx, *, kinds: Sequence[str], site_ids: Sequence[int], start: datetime, end: datetime
) -> Sequence[Alarm]:
    """Return alarms of some kinds at sites that were on in a span of time, oldest first."""
    return tx.session.exec(
        select(Alarm)
        .where(
            col(Alarm.site_id).in_(site_ids),
            col(Alarm.kind).in_(kinds),
            col(Alarm.raised_at) < end,
            or_(col(Alarm.returned_at).is_(None), col(Alarm.returned_at) > start),
        )
        .order_by(col(Alarm.raised_at))
    ).all()


def lots_called(tx: Tx, *, code: str) -> list[tuple[Lot, Product]]:
    """Return the lots of this code, of whichever product."""
    rows = tx.session.exec(
        select(Lot, Product)
        .join(Product, col(Product.id) == col(Lot.product_id))
        .where(Lot.code == code)
        .order_by(col(Product.code))
    ).all()
    return list(rows)
