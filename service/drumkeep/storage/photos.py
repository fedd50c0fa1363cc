"""Queries on photos."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import insert
from sqlmodel import col, or_, select, update

from drumkeep.storage.bulk import keyed
from drumkeep.storage.tables.claims import ClaimPhoto
from drumkeep.storage.tables.deliveries import DeliveryDrum
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.photos import Photo, PhotoContent
from drumkeep.storage.transaction import Tx


def add(tx: Tx, *, photo: Photo, small: bytes, whole: bytes) -> Photo:
    """Store a photo."""
    tx.session.add(photo)
    tx.session.flush()
    # Not as an object of the session: the trail of what people changed would write it down too.
    tx.session.execute(insert(PhotoContent).values(photo_id=photo.id, small=small, whole=whole))
    return photo


def by_key(tx: Tx, *, key: UUID) -> Photo | None:
    """Return the photo of this key."""
    return tx.session.exec(select(Photo).where(Photo.key == key)).one_or_none()


def content_of(tx: Tx, *, photo_id: int) -> PhotoContent | None:
    """Return a photo itself."""
    return tx.session.get(PhotoContent, photo_id)


def of_drums(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Photo]:
    """Return the photos of drums and of the deliveries they came with, oldest first."""
    came_with = select(DeliveryDrum.delivery_id).where(col(DeliveryDrum.drum_id).in_(drum_ids))
    return tx.session.exec(
        select(Photo)
        .where(or_(col(Photo.drum_id).in_(drum_ids), col(Photo.delivery_id).in_(came_with)))
        .order_by(col(Photo.id))
    ).all()


def of_delivery(tx: Tx, *, delivery_id: int) -> Sequence[Photo]:
    """Return the photos that were put to a delivery as a whole, oldest first."""
    return tx.session.exec(
        select(Photo).where(Photo.delivery_id == delivery_id).order_by(col(Photo.id))
    ).all()


def of_claim(tx: Tx, *, claim_id: int) -> Sequence[Photo]:
    """Return the photos that a claim rests on, and those put to it since, oldest first."""
    rests_on = select(ClaimPhoto.photo_id).where(ClaimPhoto.claim_id == claim_id)
    return tx.session.exec(
        select(Photo)
        .where(or_(Photo.claim_id == claim_id, col(Photo.id).in_(rests_on)))
        .order_by(col(Photo.id))
    ).all()


def thinned(tx: Tx, *, photo_ids: Sequence[int]) -> set[int]:
    """Return which of some photos only the small one is kept of."""
    rows = tx.session.exec(
        select(PhotoContent.photo_id).where(
            col(PhotoContent.photo_id).in_(photo_ids), col(PhotoContent.whole).is_(None)
        )
    ).all()
    return set(rows)


def thin(tx: Tx, *, before: datetime, kept: Collection[int]) -> int:
    """Keep only the small one of old photos; return of how many.

    Parameters
    ----------
    before
        Of photos that are older.
    kept
        Ids of drums whose photos, and those of their deliveries, stay whole. So do photos of drums
        that are there, and all that a claim rests on.
    """
    rested_on = or_(keyed(tx.session.connection(), col(Drum.id), kept), col(Drum.ended).is_(None))
    whole_drums = select(Drum.id).where(rested_on)
    whole_deliveries = (
        select(DeliveryDrum.delivery_id)
        .join(Drum, col(Drum.id) == col(DeliveryDrum.drum_id))
        .where(rested_on)
    )
    old = select(Photo.id).where(
        col(Photo.at) < before,
        col(Photo.claim_id).is_(None),
        col(Photo.id).not_in(select(ClaimPhoto.photo_id)),
        or_(col(Photo.drum_id).is_(None), col(Photo.drum_id).not_in(whole_drums)),
        or_(col(Photo.delivery_id).is_(None), col(Photo.delivery_id).not_in(whole_deliveries)),
    )
    gone = tx.session.exec(
        update(PhotoContent)
        .where(col(PhotoContent.photo_id).in_(old), col(PhotoContent.whole).is_not(None))
        .values(whole=None)
    )
    return gone.rowcount
