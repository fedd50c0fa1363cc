"""A photo as sent, by API or by form: read, checked and made anew before any transaction."""

from datetime import datetime
from typing import Annotated, Final

import anyio
from anyio import to_thread
from fastapi import Request
from fastapi.responses import Response
from pydantic import Field, Strict
from starlette.datastructures import FormData, UploadFile

from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import Body, Line
from drumkeep.domain.photos import Shows
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.drums import By
from drumkeep.operations.photos import Caption, photo_of_claim, photo_of_delivery, photo_of_drum
from drumkeep.operations.pictures import MOST_BYTES, Picture, made_anew
from drumkeep.storage.tables.photos import Photo, PhotoContent
from drumkeep.storage.transaction import Tx

_TURN: Final = anyio.CapacityLimiter(1)
"""One at a time: a large photo takes a hundred megabytes while it is decoded."""

_POLICY: Final = "default-src 'none'; sandbox"


class PhotoIn(Body):
    """What a photo is of, one of drum, delivery and claim; ``event`` one of the drum's own."""

    drum: Line | None = None
    delivery: ClientId | None = None
    claim: Annotated[int, Strict(strict=False), Field(ge=1, le=2**31 - 1)] | None = None
    event: ClientId | None = None
    shows: Annotated[Shows, Strict(strict=False)] = Shows.OTHER
    note: Annotated[str, Field(max_length=500)] = ""


async def picture_of(content: bytes, *, field: str = "photo") -> Picture:
    """Check a file and make its picture anew.

    Raises
    ------
    Invalid
        It cannot be kept.
    """
    return await to_thread.run_sync(lambda: made_anew(content, field=field), limiter=_TURN)


async def picture_in(form: FormData, *, field: str = "photo") -> Picture | None:
    """Return the photo that a form holds, checked and made anew; None if it holds none.

    Raises
    ------
    Invalid
        It cannot be kept.
    """
    file = form.get(field)
    if not isinstance(file, UploadFile) or not file.filename:
        return None
    return await picture_of(await file.read(MOST_BYTES + 1), field=field)


def put_photo(tx: Tx, sent: PhotoIn, *, picture: Picture, by: By, now: datetime) -> Photo:
    """Store a photo with what it is of.

    Raises
    ------
    Invalid
        It is of nothing, or of several things.
    NotFound, Conflict, Refused
        As ``operations.photos`` says.
    """
    caption = Caption(shows=sent.shows, note=sent.note)
    of = {name: getattr(sent, name) for name in ("drum", "delivery", "claim")}
    given = [name for name, value in of.items() if value is not None]
    if len(given) != 1:
        problem = "is missing" if not given else f"stands beside {given[0]}"
        mend = "Give one of drum, delivery and claim."
        raise Invalid(
            "Say what it is a photo of.", [Fault((given or ["drum"])[-1], None, problem, mend)]
        )
    if sent.drum is not None:
        return photo_of_drum(
            tx, tag=sent.drum, event_id=sent.event, picture=picture, caption=caption, by=by, now=now
        )
    if sent.delivery is not None:
        return photo_of_delivery(
            tx, key=sent.delivery, picture=picture, caption=caption, by=by, now=now
        )
    return photo_of_claim(
        tx, claim_id=sent.claim or 0, picture=picture, caption=caption, by=by, now=now
    )


def photo_answer(request: Request, photo: Photo, content: PhotoContent, *, small: bool) -> Response:
    """Answer a photo, or the small one of it, which is all that is left of a thinned one.

    A browser may keep it, but asks each time whether it may still show it (RFC 9110, 13.1.2).
    """
    whole = None if small else content.whole
    tag = f'"{photo.sha256[:32]}-{"small" if whole is None else "whole"}"'
    headers = {
        "Content-Disposition": f'inline; filename="photo-{photo.key}.jpg"',
        "Content-Security-Policy": _POLICY,
        "Cache-Control": "private, no-cache",
        "ETag": tag,
    }
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    body = content.small if whole is None else whole
    return Response(body, media_type="image/jpeg", headers=headers)
