"""Photos as pages show them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.photos import Shows
from drumkeep.storage import photos as rows
from drumkeep.storage.tables.photos import Photo
from drumkeep.storage.transaction import Tx

SHOWS_WORDS: Final = (
    (Shows.SOLIDS, "Solids"),
    (Shows.SKIN, "A skin"),
    (Shows.BULGE, "A bulge"),
    (Shows.DAMAGE, "Damage"),
    (Shows.RING, "The ring at the bung"),
    (Shows.LABEL, "The label"),
    (Shows.OTHER, "Something else"),
)
_WORDS: Final = dict(SHOWS_WORDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoView:
    """A photo in a row of them; ``thinned``: only the small one is left."""

    key: str
    words: str
    note: str
    at: datetime
    by: str
    taken: str | None
    wide: int
    tall: int
    thinned: bool


def photo_views(tx: Tx, photos: Sequence[Photo]) -> tuple[PhotoView, ...]:
    """Return photos as pages show them."""
    thinned = rows.thinned(tx, photo_ids=[photo.id for photo in photos])
    return tuple(
        PhotoView(
            key=str(photo.key),
            words=_WORDS[Shows(photo.shows)],
            note=photo.note,
            at=photo.at,
            by=photo.by,
            taken=photo.taken,
            wide=photo.wide,
            tall=photo.tall,
            thinned=photo.id in thinned,
        )
        for photo in photos
    )
