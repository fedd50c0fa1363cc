"""``/moves``: many drums to one place, all or none."""

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import Field

from drumkeep.api.drum_answers import drum_out, event_out
from drumkeep.api.schemas.drums import DrumOut
from drumkeep.api.schemas.events import EventOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, TransactionDep, require
from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import Answer, Body, Line, Moment, Note
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action
from drumkeep.errors import faults_within
from drumkeep.operations.drums import drum_named
from drumkeep.operations.moves import MOST_AT_ONCE, Carried, Move, move_drums
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/moves", tags=["drums"])


class CarriedIn(Body):
    """A drum to move; ``from`` is where it was last seen, and it is refused if it went on since."""

    tag: Line
    from_: str | None = Field(default=None, alias="from", min_length=1, max_length=200)


class MoveIn(Body):
    """Drums that went to a place together; ``id`` is the client's UUID of the whole move."""

    id: ClientId
    to: Line
    at: Moment
    drums: Annotated[list[CarriedIn], Field(min_length=1, max_length=MOST_AT_ONCE)]
    note: Note | None = None


class MovedOut(Answer):
    """The drums as they are with it, and the event of each, in the order sent."""

    drums: list[DrumOut]
    events: list[EventOut]


@router.post("", status_code=201)
def move(
    tx: TransactionDep,
    body: MoveIn,
    caller: Annotated[Caller, Depends(require(Action.RECORD))],
    now: Now,
) -> MovedOut:
    """Move drums to a place: all of them, or none if one may not go or they do not fit."""
    done = move_drums(
        tx,
        move=Move(
            id=body.id,
            to=place_named(tx, reference=body.to, field="to").id,
            at=body.at,
            drums=[_carried(tx, one, index) for index, one in enumerate(body.drums)],
            note=body.note,
        ),
        by=by_caller(caller),
        now=now,
    )
    found = rows.list_drums(tx, among=[drum.id for drum, _ in done], present=False, limit=None)
    by_id = {row.drum.id: row for row in found}
    return MovedOut(
        drums=[drum_out(by_id[drum.id]) for drum, _ in done],
        events=event_out(tx, [event for _, event in done]),
    )


def _carried(tx: Tx, one: CarriedIn, index: int) -> Carried:
    with faults_within(f"drums.{index}"):
        seen = None if one.from_ is None else place_named(tx, reference=one.from_, field="from").id
        return Carried(tag=drum_named(tx, reference=one.tag, field="tag").tag, seen_in=seen)
