"""``/drums``: what there is, how warm its liquid is, and what happens to it."""

from datetime import datetime, timedelta
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Body, Depends, Query, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel

from drumkeep.api.addresses import located
from drumkeep.api.drum_answers import drum_out, event_out, strap_out
from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.api.schemas.drums import AirHourOut, DrumOut, EventRecorded, HistoryOut, HistoryPoint
from drumkeep.api.schemas.events import DRUM_BODY, EVENT_BODY
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.event_shapes import DrumIn
from drumkeep.asgi.fields import Line, Moment, PageOf
from drumkeep.asgi.happenings import by_caller, checked, event_of, happening_of
from drumkeep.domain.grid import step_at
from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.readiness import Readiness
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid, faults_within
from drumkeep.operations import drums, history, receipts
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.glances import of_state
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/drums", tags=["drums"])

RecorderDep = Annotated[Caller, Depends(require(Action.RECORD))]

MOST_AT_ONCE: Final = 500
HISTORY_DAYS: Final = 5
LONGEST_HISTORY: Final = timedelta(days=366)


class DrumQuery(PageQuery):
    """Which drums, and for which output class their readiness is judged."""

    side: Side | None = None
    lot: Line | None = None
    place: Line | None = None
    readiness: Readiness | None = None
    condition: (
        Literal[
            "clear",
            "seeding_risk",
            "solids_suspected",
            "redissolving",
            "gassing",
            "agent_loss_suspected",
            "pressure",
            "overpressure",
            "bulged",
        ]
        | None
    ) = None
    output: OutputClass | None = None


class OutputQuery(BaseModel):
    """For which output class readiness is judged; by default the one wanted, else the site's."""

    model_config = {"extra": "forbid"}

    output: OutputClass | None = None


class HistoryQuery(BaseModel):
    """From when to when."""

    model_config = {"extra": "forbid"}

    start: Moment | None = None
    end: Moment | None = None


@router.get("")
def list_drums(tx: ReadingDep, query: Annotated[DrumQuery, Query()]) -> PageOf[DrumOut]:
    """List the drums that are there."""
    place_ids = None
    if query.place is not None:
        place_ids = [place_named(tx, reference=query.place).id]
    found = rows.list_drums(
        tx,
        side=query.side,
        lot=query.lot,
        place_ids=place_ids,
        condition=query.condition,
        among=None if query.readiness is None else of_state(query.readiness, output=query.output),
        after=query.after,
        limit=query.limit + 1,
    )
    shown = found[: query.limit]
    return PageOf(
        items=[drum_out(row, output=query.output) for row in shown],
        next_cursor=cursor_after(shown[-1].drum.id) if len(found) > query.limit else None,
    )


@router.get("/{tag}")
def get_drum(tx: ReadingDep, tag: str, query: Annotated[OutputQuery, Query()]) -> DrumOut:
    """Get a drum."""
    return _answer(tx, drums.drum_tagged(tx, tag=tag).tag, output=query.output)


@router.post("", status_code=201, openapi_extra=DRUM_BODY)
def receive_drums(
    tx: TransactionDep,
    body: Annotated[object, Body()],
    caller: RecorderDep,
    response: Response,
    now: Now,
) -> DrumOut | list[DrumOut]:
    """Receive a drum, or a list of them: all, or on any fault none."""
    many = isinstance(body, list)
    sent = body if isinstance(body, list) else [body]
    if not 0 < len(sent) <= MOST_AT_ONCE:
        mend = f"Send 1 to {MOST_AT_ONCE} drums at a time."
        raise Invalid("There are too few or too many.", [Fault("", len(sent), "drums", mend)])
    faults: list[Any] = []
    arrived = [
        checked(DrumIn, item, where=(index,) if many else (), faults=faults)
        for index, item in enumerate(sent)
    ]
    if faults:
        raise RequestValidationError(faults)
    arrivals = [
        _receipt(tx, item, where=str(index) if many else "")
        for index, item in enumerate(arrived)
        if item is not None
    ]
    made = receipts.receive_drums(tx, receipts=arrivals, by=by_caller(caller), now=now)
    answers = [_answer(tx, drum.tag) for drum in made]
    if many:
        return answers
    located(response, "drums", made[0].tag)
    return answers[0]


@router.post("/{tag}/events", status_code=201, openapi_extra=EVENT_BODY)
def record_event(
    tx: TransactionDep,
    tag: str,
    body: Annotated[dict[str, Any], Body()],
    caller: RecorderDep,
    now: Now,
) -> EventRecorded:
    """Record something that happened to a drum; the kind says which fields it has."""
    happening = happening_of(tx, event_of(body))
    drum, event = drums.record_event(
        tx, tag=tag, happening=happening, by=by_caller(caller), now=now
    )
    return EventRecorded(event=event_out(tx, [event])[0], drum=_answer(tx, drum.tag))


@router.get("/{tag}/history")
def get_history(
    tx: ReadingDep, tag: str, query: Annotated[HistoryQuery, Query()], now: Now
) -> HistoryOut:
    """Get what was computed of a drum, and what happened to it; the last five days by default."""
    end = query.end or now
    start = query.start or end - timedelta(days=HISTORY_DAYS)
    _check_span(start, end)
    drum = drums.drum_tagged(tx, tag=tag)
    past = history.past_of(tx, drum=drum, start=start, end=end)
    return HistoryOut(
        tag=drum.tag,
        resolution_s=past.resolution_s,
        points=[HistoryPoint(**point.__dict__) for point in past.points],
        air=[
            AirHourOut(at=hour.at, low_c=hour.low_c, mean_c=hour.mean_c, high_c=hour.high_c)
            for hour in past.hours
        ],
        events=event_out(tx, rows.event_rows(tx, drum_id=drum.id)),
        straps=strap_out(tx, drum=drum, first=step_at(start), last=step_at(end)),
    )


def _answer(tx: Tx, tag: str, *, output: OutputClass | None = None) -> DrumOut:
    return drum_out(rows.list_drums(tx, tag=tag, present=False)[0], output=output)


def _check_span(start: datetime, end: datetime) -> None:
    if start >= end:
        mend = f"Give a time before end, {end.isoformat()}."
        raise Invalid(
            "The span is empty.", [Fault("start", start.isoformat(), "is not before end", mend)]
        )
    if end - start > LONGEST_HISTORY:
        mend = f"Ask for at most {LONGEST_HISTORY.days} days at a time."
        raise Invalid(
            "The span is too long.", [Fault("start", start.isoformat(), "is too early", mend)]
        )


def _receipt(tx: Tx, item: DrumIn, *, where: str) -> receipts.Receipt:
    origin = None
    with faults_within(where):
        place = place_named(tx, reference=item.place).id
        if item.from_ is not None:
            origin = place_named(tx, reference=item.from_, field="from").id
    return receipts.Receipt(
        event_id=item.id,
        product=item.product,
        lot=item.lot,
        place=place,
        at=item.at,
        tag=item.tag,
        origin=origin,
        net_kg=item.net_kg,
        liquid_c=item.liquid_c,
        made_on=item.made_on,
        share=item.share,
        tare_kg=item.tare_kg,
        un_mark=item.un_mark,
        note=item.note,
        where=where,
    )
