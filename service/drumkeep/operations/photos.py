"""Put photos to drums, deliveries and claims, and find them again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID, uuid5

from drumkeep.domain.events import EventKind
from drumkeep.domain.photos import Shows
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.drums import By, drum_tagged, refuse_unless_may
from drumkeep.operations.pictures import Picture
from drumkeep.storage import claims, deliveries, drums
from drumkeep.storage import photos as rows
from drumkeep.storage.tables.photos import Photo, PhotoContent
from drumkeep.storage.transaction import Tx

MOST_OF_ONE: Final = 40
"""Photos of one drum, delivery or claim."""

_KEYS: Final = UUID("5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11")
"""The namespace of the keys of photos (RFC 9562, version 5)."""


@dataclass(frozen=True, slots=True)
class Caption:
    """What a photo shows, and what somebody says of it."""

    shows: Shows = Shows.OTHER
    note: str = ""


def photo_of_drum(
    tx: Tx,
    *,
    tag: str,
    picture: Picture,
    caption: Caption,
    by: By,
    now: datetime,
    event_id: UUID | None = None,
) -> Photo:
    """Put a photo to a drum, and to one event of it where one is named.

    Raises
    ------
    NotFound
        No drum bears the tag.
    Invalid, Conflict
        Naming the field.
    Refused
        The role may not record.
    """
    drum = drum_tagged(tx, tag=tag)
    if event_id is not None:
        event = drums.event_by_id(tx, event_id=event_id)
        if event is None or event.drum_id != drum.id:
            mend = "Give the id of an event of this drum, as its history lists them."
            fault = Fault("event", str(event_id), "is no event of this drum", mend)
            raise Invalid("There is no such event.", [fault])
    photo = _photo(picture, of=f"drum {drum.id}", caption=caption, by=by, now=now)
    photo.drum_id, photo.event_id = drum.id, event_id
    return _put(tx, photo, picture=picture, by=by, there=rows.of_drums(tx, drum_ids=[drum.id]))


def photo_of_delivery(
    tx: Tx, *, key: UUID, picture: Picture, caption: Caption, by: By, now: datetime
) -> Photo:
    """Put a photo to a delivery: it is shown with each of its drums.

    Raises
    ------
    NotFound
        There is no such delivery.
    Invalid, Conflict, Refused
        As of a drum.
    """
    delivery = deliveries.by_key(tx, key=key)
    if delivery is None:
        mend = "Put the photo to one of its drums."
        raise NotFound(
            "There is no such receipt.", [Fault("delivery", str(key), "is not known", mend)]
        )
    photo = _photo(picture, of=f"delivery {delivery.id}", caption=caption, by=by, now=now)
    photo.delivery_id = delivery.id
    there = rows.of_delivery(tx, delivery_id=delivery.id)
    return _put(tx, photo, picture=picture, by=by, there=there)


def photo_of_claim(
    tx: Tx, *, claim_id: int, picture: Picture, caption: Caption, by: By, now: datetime
) -> Photo:
    """Put a photo to a claim; its record stays as it was made.

    Raises
    ------
    NotFound
        There is no such claim.
    Invalid, Conflict, Refused
        As of a drum.
    """
    if claims.by_id(tx, claim_id=claim_id) is None:
        mend = "Look for it in the list of claims."
        raise NotFound("There is no such claim.", [Fault("claim", claim_id, "is not known", mend)])
    photo = _photo(picture, of=f"claim {claim_id}", caption=caption, by=by, now=now)
    photo.claim_id = claim_id
    there = rows.of_claim(tx, claim_id=claim_id)
    return _put(tx, photo, picture=picture, by=by, there=there)


def photos_of_delivery(tx: Tx, *, key: UUID) -> Sequence[Photo]:
    """Return the photos that were put to a delivery as a whole, oldest first."""
    delivery = deliveries.by_key(tx, key=key)
    return [] if delivery is None else rows.of_delivery(tx, delivery_id=delivery.id)


def photo_itself(tx: Tx, *, key: UUID) -> tuple[Photo, PhotoContent]:
    """Return a photo with its content.

    Raises
    ------
    NotFound
        There is none of this key.
    """
    photo = rows.by_key(tx, key=key)
    content = None if photo is None else rows.content_of(tx, photo_id=photo.id)
    if photo is None or content is None:
        mend = "Look at the drum's page: it shows its photos."
        raise NotFound("There is no such photo.", [Fault("id", str(key), "is not known", mend)])
    return photo, content


def _photo(picture: Picture, *, of: str, caption: Caption, by: By, now: datetime) -> Photo:
    return Photo(
        key=uuid5(_KEYS, f"{of} {picture.source_sha256}"),
        shows=caption.shows.value,
        note=caption.note.strip(),
        at=now,
        account_id=by.account_id,
        by=by.name,
        taken=picture.taken,
        source_sha256=picture.source_sha256,
        sha256=picture.sha256,
        size=len(picture.whole),
        wide=picture.wide,
        tall=picture.tall,
    )


def _put(tx: Tx, photo: Photo, *, picture: Picture, by: By, there: Sequence[Photo]) -> Photo:
    refuse_unless_may(by, EventKind.INSPECTED)
    known = rows.by_key(tx, key=photo.key)
    if known is not None:
        return known
    if len(there) >= MOST_OF_ONE:
        mend = "Take those that matter; the rest can be kept elsewhere."
        fault = Fault("photo", None, f"would be more than {MOST_OF_ONE}", mend)
        raise Conflict("There are enough photos of this.", [fault])
    return rows.add(tx, photo=photo, small=picture.small, whole=picture.whole)
