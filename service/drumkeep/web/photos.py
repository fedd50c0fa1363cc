"""Photos: kept from a form of the page of what they are of, and shown."""

from typing import Final
from uuid import UUID

from fastapi import APIRouter, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import ValidationError

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.photos import PhotoIn, photo_answer, picture_in, put_photo
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.photos import photo_itself
from drumkeep.web.shell import ShellDep, safe_next, see

router = APIRouter()

_FIELDS: Final = ("drum", "delivery", "claim", "event", "shows", "note")


@router.post("/photos")
async def add(request: Request, shell: ShellDep) -> Response:
    """Keep a photo, and go back to the page of what it is of."""
    refuse_unless_may(shell.caller, Action.RECORD)
    async with request.form() as form:
        picture = await picture_in(form)
        given = {name: value for name, value in form.items() if isinstance(value, str)}
    if picture is None:
        mend = "Take a photo, or choose one."
        raise Invalid("There is no photo.", [Fault("photo", None, "is missing", mend)])
    sent = photo_in(given)
    by = by_caller(shell.caller)
    database = services(request).database
    await database.write(lambda tx: put_photo(tx, sent, picture=picture, by=by, now=shell.now).key)
    return see(safe_next(given.get("next", "")))


@router.get("/photos/{identity}")
def show(
    request: Request, tx: ReadingDep, _shell: ShellDep, identity: UUID, *, small: bool = False
) -> Response:
    """Answer a photo, or the small one of it."""
    photo, content = photo_itself(tx, key=identity)
    return photo_answer(request, photo, content, small=small)


def photo_in(given: dict[str, str]) -> PhotoIn:
    """Return what a form says of a photo.

    Raises
    ------
    RequestValidationError
        Naming the field.
    """
    told = {name: given[name] for name in _FIELDS if given.get(name)}
    try:
        return PhotoIn.model_validate(told)
    except ValidationError as error:
        raise RequestValidationError(
            [{**e, "loc": ("body", *e["loc"])} for e in error.errors(include_url=False)]
        ) from None
