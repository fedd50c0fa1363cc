"""Every place with the sensors that were ever mounted there, for one computation."""

from collections.abc import Sequence

from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Mount, Place
from drumkeep.storage.transaction import Tx


def all_places(tx: Tx) -> Sequence[Place]:
    """Return every place."""
    return tx.session.exec(select(Place).order_by(col(Place.id))).all()


def place_mounts(tx: Tx) -> Sequence[Mount]:
    """Return every mount in a place, past ones too, oldest first."""
    return tx.session.exec(
        select(Mount)
        .where(col(Mount.place_id).is_not(None))
        .order_by(col(Mount.since), col(Mount.id))
    ).all()


def drum_mounts(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Mount]:
    """Return every mount on these drums, past ones too, oldest first."""
    return tx.session.exec(
        select(Mount)
        .where(col(Mount.drum_id).in_(drum_ids))
        .order_by(col(Mount.since), col(Mount.id))
    ).all()


def hanging_on_drums(tx: Tx) -> Sequence[Mount]:
    """Return every mount on a drum, with no end set, oldest first."""
    return tx.session.exec(
        select(Mount)
        .where(col(Mount.drum_id).is_not(None), col(Mount.until).is_(None))
        .order_by(col(Mount.since), col(Mount.id))
    ).all()
