"""Claims on suppliers: the list, one made by a tap on a drum's page, and its record to print."""

from typing import Annotated, Any, Final, TypeVar
from uuid import uuid4

from fastapi import APIRouter, Depends, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, Response
from pydantic import ValidationError

from drumkeep.asgi.claims import ClaimIn, ClaimNoteIn, claimed, temperature_rows
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.asgi.fields import Body, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.tables import csv_answer
from drumkeep.domain.claims import ClaimState
from drumkeep.domain.roles import Action, may
from drumkeep.operations.claims import claim_at, note_claim, state_of
from drumkeep.storage import claims as rows
from drumkeep.storage import photos
from drumkeep.web.drums import posted
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.claims import STATE_WORDS, claim_rows, claim_view, note_views
from drumkeep.web.views.photos import SHOWS_WORDS, photo_views

router = APIRouter()

_Shape = TypeVar("_Shape", bound=Body)

_MOST_LISTED: Final = 1000


@router.get("/claims")
def claims_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the claims, newest first."""
    found = rows.lines(tx, limit=_MOST_LISTED)
    states = rows.states(tx, claim_ids=[line.claim.id for line in found])
    return shell.answer(
        "claims.html", tx=tx, page="claims", claims=claim_rows(found, states=states)
    )


async def _sent(request: Request) -> dict[str, Any]:
    """Return the form with all drums that were ticked."""
    form = await request.form()
    drums = [value for value in form.getlist("drums") if isinstance(value, str)]
    return {"id": form.get("id", ""), "drums": drums}


@router.post("/claims")
async def make(
    request: Request, shell: ShellDep, form: Annotated[dict[str, Any], Depends(_sent)]
) -> Response:
    """Make a claim and show it."""
    refuse_unless_may(shell.caller, Action.RECORD)
    sent = _checked(ClaimIn, form)
    number = await claimed(
        services(request).database,
        key=sent.id,
        tags=sent.drums,
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/claims/{number}")


@router.get("/claims/{number}")
def claim_page(tx: ReadingDep, shell: ShellDep, number: RowId) -> HTMLResponse:
    """Show a claim: the record as it was made, its photos, and what became of it."""
    claim = claim_at(tx, claim_id=number)
    formats = shell.formats.at(claim.record["drums"][0]["zone"])
    role = shell.caller.role
    return shell.answer(
        "claim.html",
        tx=tx,
        page="claims",
        formats=formats,
        claim=claim_view(claim, formats=formats),
        state=STATE_WORDS[state_of(tx, claim_id=number)],
        notes=note_views(rows.notes(tx, claim_id=number)),
        photos=photo_views(tx, photos.of_claim(tx, claim_id=number)),
        shows=SHOWS_WORDS,
        states=[(state.value, STATE_WORDS[state]) for state in ClaimState],
        note_id=str(uuid4()),
        may_note=may(role, Action.RECORD),
        may_settle=may(role, Action.SETTLE_CLAIMS),
    )


@router.post("/claims/{number}/notes")
def add_note(
    tx: TransactionDep,
    shell: ShellDep,
    number: RowId,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Say what became of a claim."""
    refuse_unless_may(shell.caller, Action.RECORD)
    told = {name: form[name] for name in ("id", "state", "text") if form.get(name)}
    sent = _checked(ClaimNoteIn, told)
    note_claim(
        tx,
        claim_id=number,
        key=sent.id,
        state=sent.state,
        text=sent.text,
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/claims/{number}")


@router.get("/claims/{number}/temperatures.csv")
def temperatures(tx: ReadingDep, shell: ShellDep, number: RowId) -> Response:
    """Answer the temperature record as a table, in the person's units."""
    claim = claim_at(tx, claim_id=number)
    us = shell.caller.units == "us"
    return csv_answer(temperature_rows(claim.record, us=us), name=f"claim-{number}")


def _checked(shape: type[_Shape], sent: dict[str, Any]) -> _Shape:
    try:
        return shape.model_validate(sent)
    except ValidationError as error:
        raise RequestValidationError(
            [{**e, "loc": ("body", *e["loc"])} for e in error.errors(include_url=False)]
        ) from None
