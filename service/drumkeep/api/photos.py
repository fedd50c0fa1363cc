"""``/photos``: photos of drums, deliveries and claims."""

from collections.abc import Sequence
from typing import Annotated, Any, Final
from uuid import UUID

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import DatabaseDep, Now, ReadingDep, require
from drumkeep.asgi.fields import Answer, Line, MomentOut, PageOf
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.photos import PhotoIn, photo_answer, picture_of, put_photo
from drumkeep.asgi.problems import Problem
from drumkeep.domain.photos import Shows
from drumkeep.domain.roles import Action
from drumkeep.operations.drums import drum_tagged
from drumkeep.operations.photos import photo_itself
from drumkeep.storage import photos as rows
from drumkeep.storage.drums import tags_by_id
from drumkeep.storage.tables.photos import Photo
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/photos", tags=["photos"])

_KINDS: Final = ("image/jpeg", "image/png", "image/webp")
_WRONG_KIND: Final = Problem(
    "media-type", f"The body is of the wrong kind. Send it as {', '.join(_KINDS)}.", 415
)
_PHOTO_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in _KINDS},
    }
}
"""Documents a body that FastAPI does not read."""

_JPEG: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"image/jpeg": {}}}}


class PhotoOut(Answer):
    """A photo; ``thinned`` where only the small one is kept. Checksums are SHA-256.

    ``drum`` or ``claim`` is null where it is of something else; all null: of a whole delivery.
    """

    id: UUID
    drum: str | None
    claim: int | None
    event: UUID | None
    shows: Shows
    note: str
    at: MomentOut
    by: str
    taken: str | None
    sha256: str
    source_sha256: str
    size: int
    wide: int
    tall: int
    thinned: bool


@router.post("", status_code=201, response_model=PhotoOut, openapi_extra=_PHOTO_BODY)
async def add_photo(
    request: Request,
    query: Annotated[PhotoIn, Query()],
    database: DatabaseDep,
    caller: Annotated[Caller, Depends(require(Action.RECORD))],
    now: Now,
) -> PhotoOut | Response:
    """Keep a photo: its picture alone, upright, without where it was taken; sent again it is one.

    Of one drum, of a delivery (then it is shown with each of its drums), or of a claim.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in _KINDS:
        return _WRONG_KIND.response(request_id=request.state.request_id)
    picture = await picture_of(await request.body())

    def put(tx: Tx) -> PhotoOut:
        photo = put_photo(tx, query, picture=picture, by=by_caller(caller), now=now)
        return _out(tx, [photo])[0]

    return await database.write(put)


@router.get("")
def list_photos(tx: ReadingDep, drum: Line) -> PageOf[PhotoOut]:
    """List the photos of a drum and of the delivery that it came with, oldest first."""
    found = rows.of_drums(tx, drum_ids=[drum_tagged(tx, tag=drum).id])
    return PageOf(items=_out(tx, found))


@router.get("/{identity}")
def get_photo(tx: ReadingDep, identity: UUID) -> PhotoOut:
    """Say what is known of a photo."""
    return _out(tx, [photo_itself(tx, key=identity)[0]])[0]


@router.get("/{identity}/jpeg", response_class=Response, responses=_JPEG)
def get_jpeg(request: Request, tx: ReadingDep, identity: UUID, *, small: bool = False) -> Response:
    """Answer the photo itself, or the small one of it."""
    photo, content = photo_itself(tx, key=identity)
    return photo_answer(request, photo, content, small=small)


def _out(tx: Tx, photos: Sequence[Photo]) -> list[PhotoOut]:
    tags = tags_by_id(tx, ids=[photo.drum_id for photo in photos if photo.drum_id is not None])
    thinned = rows.thinned(tx, photo_ids=[photo.id for photo in photos])
    return [
        PhotoOut(
            id=photo.key,
            drum=None if photo.drum_id is None else tags[photo.drum_id],
            claim=photo.claim_id,
            event=photo.event_id,
            shows=Shows(photo.shows),
            note=photo.note,
            at=photo.at,
            by=photo.by,
            taken=photo.taken,
            sha256=photo.sha256,
            source_sha256=photo.source_sha256,
            size=photo.size,
            wide=photo.wide,
            tall=photo.tall,
            thinned=photo.id in thinned,
        )
        for photo in photos
    ]
