"""``/readings``: a SenML pack over HTTP, on the same path as one over MQTT."""

from functools import partial
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, Field

from drumkeep.api.schemas.readings import PACK_BODY, ReceivedOut, RejectedOut, RejectionOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import DatabaseDep, Now, ReadingDep, require
from drumkeep.asgi.fields import PageOf
from drumkeep.asgi.problems import Problem, shown
from drumkeep.domain.readings import PREFIX_LENGTH, ArrivedPack, Reading, Rejection, sift
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.readings import record_batch
from drumkeep.storage import rejects
from drumkeep_wire.errors import WireError
from drumkeep_wire.senml import MEDIA_TYPE, decode_pack

router = APIRouter(prefix="/readings", tags=["readings"])

SOURCE: Final = "http"

SHOWN: Final = 500
"""Characters of a rejected pack that are shown."""

# Its drums are computed after the answer, so: accepted.
_ACCEPTED: Final = 202
_WRONG_KIND: Final = Problem(
    "media-type", f"The body is of the wrong kind. Send it as {MEDIA_TYPE}.", 415
)


class RejectedQuery(BaseModel):
    """Which part of the list."""

    model_config = {"extra": "forbid"}

    limit: Annotated[int, Field(ge=1, le=200)] = 50
    cursor: Annotated[int, Field(ge=1, le=2**63 - 1)] | None = None


@router.get("/rejected", dependencies=[Depends(require(Action.CHANGE_CATALOGUE))])
def list_rejected(tx: ReadingDep, query: Annotated[RejectedQuery, Query()]) -> PageOf[RejectedOut]:
    """List what came and could not be stored, and why, the newest first; the oldest are let go."""
    rows = rejects.list_rejects(tx, before=query.cursor, limit=query.limit + 1)
    shown_rows = rows[: query.limit]
    more = len(rows) > query.limit
    return PageOf(
        items=[
            RejectedOut(
                received_at=row.received_at,
                source=row.source,
                record=row.record,
                field=row.field,
                value=row.value,
                problem=row.problem,
                mend=row.mend,
                records=row.records,
                times=row.times,
                size=row.size,
                begins=row.payload.decode("utf-8", "backslashreplace")[:SHOWN],
            )
            for row in shown_rows
        ],
        next_cursor=str(shown_rows[-1].id) if more else None,
    )


@router.post("", status_code=_ACCEPTED, response_model=ReceivedOut, openapi_extra=PACK_BODY)
async def receive_readings(
    request: Request,
    database: DatabaseDep,
    now: Now,
    _caller: Annotated[Caller, Depends(require(Action.SEND_READINGS))],
) -> ReceivedOut | Response:
    """Store a SenML pack: what can be stored is, and what cannot is told and kept with its reason.

    Times below 2**28 are relative to the moment of arrival. Sending a pack again is harmless.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != MEDIA_TYPE:
        return _WRONG_KIND.response(request_id=request.state.request_id)
    payload = await request.body()
    refusal: WireError | None = None
    try:
        pack = decode_pack(payload, received_at=now.timestamp())
    except WireError as error:
        refusal = error
        rejection = Rejection(error.index, error.label, error.value, error.problem, error.mend)
        arrived = _arrived(payload, rejections=(rejection,))
    else:
        readings, rejections = sift(pack.records, now=now)
        arrived = _arrived(payload, readings=readings, rejections=rejections)
    outcome = (await database.write(partial(record_batch, packs=[arrived], now=now))).packs[0]
    if refusal is not None:
        # Only now: raised inside of the transaction it would undo that the pack is kept.
        raise Invalid(
            "The pack cannot be read.",
            [Fault(refusal.field, refusal.value, refusal.problem, refusal.mend)],
        )
    return ReceivedOut(
        stored=outcome.stored,
        duplicates=outcome.duplicates,
        rejected=[
            RejectionOut(
                index=told.index,
                field=told.field,
                value=shown(told.value),
                problem=told.problem,
                mend=told.mend,
            )
            for told in outcome.rejected
        ],
    )


def _arrived(
    payload: bytes,
    *,
    readings: tuple[Reading, ...] = (),
    rejections: tuple[Rejection, ...],
) -> ArrivedPack:
    return ArrivedPack(
        source=SOURCE,
        gateway=None,
        readings=readings,
        rejections=rejections,
        spool=None,
        prefix=payload[:PREFIX_LENGTH],
        size=len(payload),
    )
