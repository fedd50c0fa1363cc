"""``/drums``: what there is, how warm its liquid is, and what happens to it."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Annotated, Any, Final, Literal, TypeVar

from fastapi import APIRouter, Body, Depends, Query, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError

from drumkeep.api.addresses import located
from drumkeep.api.drum_answers import drum_out, event_out
from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.api.schemas.drums import DrumIn, DrumOut, EventRecorded, HistoryOut, HistoryPoint
from drumkeep.api.schemas.events import SHAPES, CorrectedIn, EventIn
from drumkeep.api.schemas.fields import Line, Moment, PageOf
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.domain.events import EventKind
from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.readiness import Readiness
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import drums, history
from drumkeep.operations.drums import By, Happening, Receipt
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/drums", tags=["drums"])

RecorderDep = Annotated[Caller, Depends(require(Action.RECORD))]

MOST_AT_ONCE: Final = 500
HISTORY_DAYS: Final = 5
LONGEST_HISTORY: Final = timedelta(days=366)

_Shape = TypeVar("_Shape", bound=BaseModel)

_ALIASES: Final = {"from_": "from"}


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
            "overpressure",
            "bulged",
        ]
        | None
    ) = None
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
        after=query.after,
        limit=None if query.readiness else query.limit + 1,
    )
    answers = [(row.drum.id, drum_out(row, output=query.output)) for row in found]
    if query.readiness is not None:
        answers = [(i, a) for i, a in answers if a.readiness.state == query.readiness]
    shown = answers[: query.limit]
    more = len(answers) > query.limit
    return PageOf(
        items=[answer for _, answer in shown],
        next_cursor=cursor_after(shown[-1][0]) if more else None,
    )


@router.get("/{tag}")
def get_drum(tx: ReadingDep, tag: str, output: OutputClass | None = None) -> DrumOut:
    """Get a drum."""
    return _answer(tx, drums.drum_tagged(tx, tag=tag).tag, output=output)


@router.post("", status_code=201)
def receive_drums(
    tx: TransactionDep,
    body: Annotated[dict[str, Any] | list[Any], Body()],
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
    checked = [
        _checked(DrumIn, item, where=(index,) if many else (), faults=faults)
        for index, item in enumerate(sent)
    ]
    if faults:
        raise RequestValidationError(faults)
    receipts = [
        _receipt(tx, item, where=f"{index}." if many else "")
        for index, item in enumerate(checked)
        if item is not None
    ]
    made = drums.receive_drums(tx, receipts=receipts, by=by_caller(caller), now=now)
    answers = [_answer(tx, drum.tag) for drum in made]
    if many:
        return answers
    located(response, "drums", made[0].tag)
    return answers[0]


@router.post("/{tag}/events", status_code=201)
def record_event(
    tx: TransactionDep,
    tag: str,
    body: Annotated[dict[str, Any], Body()],
    caller: RecorderDep,
    now: Now,
) -> EventRecorded:
    """Record something that happened to a drum; the kind says which fields it has."""
    happening = _happening(tx, _event(body))
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
    return HistoryOut(
        tag=drum.tag,
        points=[
            HistoryPoint(**point.__dict__)
            for point in history.past_of(tx, drum=drum, start=start, end=end)
        ],
        events=event_out(tx, rows.event_rows(tx, drum_id=drum.id)),
    )


def by_caller(caller: Caller) -> By:
    """Return who records, as the log keeps it."""
    return By(
        name=caller.display_name or caller.name, role=caller.role, account_id=caller.account_id
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


def _checked(
    shape: type[_Shape], sent: object, *, where: tuple[int, ...] = (), faults: list[Any]
) -> _Shape | None:
    """Check what was sent against the shape of its kind, collecting what is wrong with it."""
    try:
        return shape.model_validate(sent)
    except ValidationError as error:
        faults += [
            {**found, "loc": ("body", *where, *found["loc"])}
            for found in error.errors(include_url=False)
        ]
        return None


def _event(body: Mapping[str, Any]) -> EventIn:
    kind = body.get("kind")
    if not isinstance(kind, str) or kind not in set(SHAPES):
        kinds = ", ".join(sorted(SHAPES))
        mend = f"Use one of: {kinds}. A drum is received by posting it to /drums."
        problem = "is missing" if kind is None else "is no kind of event"
        raise Invalid("The event cannot be recorded.", [Fault("kind", kind, problem, mend)])
    faults: list[Any] = []
    event = _checked(SHAPES[EventKind(kind)], dict(body), faults=faults)
    if event is None:
        raise RequestValidationError(faults)
    return event


def _happening(tx: Tx, event: EventIn) -> Happening:
    """Put an event in the domain's form, references resolved."""
    kind = EventKind(event.kind)
    data = event.model_dump(exclude={"id", "kind", "at", "note"}, exclude_none=True)
    data = {_ALIASES.get(name, name): value for name, value in data.items()}
    if kind is EventKind.MOVED:
        data["to"] = place_named(tx, reference=str(data["to"]), field="to").id
    if kind in (EventKind.DECANTED, EventKind.TOPPED):
        name = "to" if kind is EventKind.DECANTED else "from"
        data[name] = drums.drum_tagged(tx, tag=str(data[name])).tag
    if kind is EventKind.HEATED:
        data["until"] = data["until"].isoformat()
        if event.at.isoformat() >= data["until"]:
            mend = "Give a time after at."
            raise Invalid(
                "The heater was off before it was on.",
                [Fault("until", data["until"], "is not after at", mend)],
            )
    if isinstance(event, CorrectedIn):
        data = _correction(tx, event)
    if kind is EventKind.WEIGHED and len(data.keys() & {"gross_kg", "net_kg"}) != 1:
        mend = "Give one of gross_kg and net_kg."
        raise Invalid(
            "The weight is not clear.", [Fault("net_kg", data.get("net_kg"), "is not one", mend)]
        )
    return Happening(event_id=event.id, kind=kind, at=event.at, data=data, note=event.note)


def _correction(tx: Tx, event: CorrectedIn) -> dict[str, Any]:
    """Check a correction's new fields against the shape of the kind that it corrects."""
    stored = rows.event_by_id(tx, event_id=event.event)
    data: dict[str, Any] = {"event": str(event.event)}
    if event.void:
        return {**data, "void": True}
    if event.new_at is not None:
        data["at"] = event.new_at.isoformat()
    if event.data is not None and stored is not None:
        data["data"] = _corrected_fields(tx, EventKind(stored.kind), event.data)
    if len(data) == 1:
        mend = "Give new_at, data, or void true."
        raise Invalid("Nothing is corrected.", [Fault("data", None, "is missing", mend)])
    return data


def _corrected_fields(tx: Tx, kind: EventKind, fields: Mapping[str, Any]) -> dict[str, Any]:
    shape: type[BaseModel] = DrumIn if kind is EventKind.RECEIVED else SHAPES[kind]
    own = set(shape.model_fields) - {"id", "kind", "at", "note", "product", "lot", "tag"}
    names = {_ALIASES.get(name, name) for name in own}
    faults = [
        Fault(
            f"data.{name}",
            value,
            f"is no field of {kind.value}",
            f"Use one of: {', '.join(sorted(names))}.",
        )
        for name, value in fields.items()
        if name not in names
    ]
    for name, value in fields.items():
        field = next(
            (f for key, f in shape.model_fields.items() if _ALIASES.get(key, key) == name), None
        )
        if field is not None and name in names:
            faults += _field_faults(shape, name, value)
    if faults:
        raise Invalid("The correction cannot be used.", faults)
    data = dict(fields)
    for name in ("to", "place", "from"):
        if name in data and kind in (EventKind.MOVED, EventKind.RECEIVED):
            data[name] = place_named(tx, reference=str(data[name]), field=f"data.{name}").id
    return data


def _field_faults(shape: type[BaseModel], name: str, value: object) -> list[Fault]:
    """Check one field by itself: validate it, and keep only what is said of that field."""
    try:
        shape.model_validate({name: value})
    except ValidationError as error:
        return [
            Fault(f"data.{name}", value, found["msg"], "Correct the value.")
            for found in error.errors(include_url=False)
            if found["loc"][:1] == (name,)
        ]
    return []


def _receipt(tx: Tx, item: DrumIn, *, where: str) -> Receipt:
    origin = None
    if item.from_ is not None:
        origin = place_named(tx, reference=item.from_, field=f"{where}from").id
    return Receipt(
        event_id=item.id,
        product=item.product,
        lot=item.lot,
        place=place_named(tx, reference=item.place, field=f"{where}place").id,
        at=item.at,
        tag=item.tag,
        origin=origin,
        net_kg=item.net_kg,
        liquid_c=item.liquid_c,
        share=item.share,
        tare_kg=item.tare_kg,
        note=item.note,
    )
