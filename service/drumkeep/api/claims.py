"""``/claims``: what suppliers answer for, frozen when it is made, and what became of it."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query
from fastapi.responses import Response

from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.claims import ClaimIn, ClaimNoteIn, claimed, temperature_rows
from drumkeep.asgi.dependencies import DatabaseDep, Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Answer, MomentOut, PageOf, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.tables import csv_answer
from drumkeep.domain.claims import ClaimState
from drumkeep.domain.roles import Action
from drumkeep.operations.claims import claim_at, note_claim, state_of
from drumkeep.storage import claims as rows
from drumkeep.storage import photos as photo_rows
from drumkeep.storage.tables.claims import ClaimNote
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/claims", tags=["claims"])

RecorderDep = Annotated[Caller, Depends(require(Action.RECORD))]


class ClaimLineOut(Answer):
    """A claim as the list tells of it."""

    number: int
    product: str
    lot: str
    drums: int
    at: MomentOut
    by: str
    state: ClaimState


class ClaimNoteOut(Answer):
    """What became of a claim; ``state`` is null where only words were said."""

    at: MomentOut
    by: str
    state: ClaimState | None
    text: str


class ClaimOut(Answer):
    """A claim: its record as it was made, with its SHA-256, and what became of it since."""

    number: int
    at: MomentOut
    by: str
    state: ClaimState
    notes: list[ClaimNoteOut]
    photos: list[str]
    checksum: str
    record: dict[str, Any]


@router.post("", status_code=201)
async def make(body: ClaimIn, database: DatabaseDep, caller: RecorderDep, now: Now) -> ClaimOut:
    """Make a claim for drums in which solids, a skin or a bulge were found as they came.

    Its record is frozen: label, receipt, events, photos, and our own temperatures since receipt.
    """
    number = await claimed(database, key=body.id, tags=body.drums, by=by_caller(caller), now=now)
    return await database.read(lambda tx: _out(tx, number))


@router.get("")
def list_claims(tx: ReadingDep, query: Annotated[PageQuery, Query()]) -> PageOf[ClaimLineOut]:
    """List claims, oldest first."""
    found = rows.lines(tx, after=query.after, limit=query.limit + 1)
    shown = found[: query.limit]
    states = rows.states(tx, claim_ids=[line.claim.id for line in shown])
    return PageOf(
        items=[
            ClaimLineOut(
                number=line.claim.id,
                product=line.product.code,
                lot=line.lot.code,
                drums=line.drums,
                at=line.claim.at,
                by=line.claim.by,
                state=ClaimState(states.get(line.claim.id, ClaimState.OPEN)),
            )
            for line in shown
        ],
        next_cursor=cursor_after(shown[-1].claim.id) if len(found) > query.limit else None,
    )


@router.get("/{number}")
def get_claim(tx: ReadingDep, number: RowId) -> ClaimOut:
    """Return a claim with its record."""
    return _out(tx, number)


@router.get(
    "/{number}/temperatures",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}}},
)
def get_temperatures(tx: ReadingDep, number: RowId, units: Literal["us", "si"] = "si") -> Response:
    """Return the temperature record of a claim as CSV."""
    claim = claim_at(tx, claim_id=number)
    return csv_answer(temperature_rows(claim.record, us=units == "us"), name=f"claim-{number}")


@router.post("/{number}/notes", status_code=201)
def add_note(
    tx: TransactionDep, number: RowId, body: ClaimNoteIn, caller: RecorderDep, now: Now
) -> ClaimNoteOut:
    """Say what became of a claim; a new state is a manager's to say."""
    note = note_claim(
        tx,
        claim_id=number,
        key=body.id,
        state=body.state,
        text=body.text,
        by=by_caller(caller),
        now=now,
    )
    return _note(note)


def _out(tx: Tx, number: int) -> ClaimOut:
    claim = claim_at(tx, claim_id=number)
    return ClaimOut(
        number=claim.id,
        at=claim.at,
        by=claim.by,
        state=state_of(tx, claim_id=claim.id),
        notes=[_note(note) for note in rows.notes(tx, claim_id=claim.id)],
        photos=[str(photo.key) for photo in photo_rows.of_claim(tx, claim_id=claim.id)],
        checksum=claim.checksum,
        record=claim.record,
    )


def _note(note: ClaimNote) -> ClaimNoteOut:
    return ClaimNoteOut(
        at=note.at,
        by=note.by,
        state=None if note.state is None else ClaimState(note.state),
        text=note.text,
    )
