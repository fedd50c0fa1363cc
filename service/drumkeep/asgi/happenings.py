"""From an event as sent, by API or by form, to a happening that operations record."""

from collections.abc import Mapping
from typing import Any, Final, TypeVar

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.event_shapes import SHAPES, CorrectedIn, DrumIn, EventIn
from drumkeep.domain.events import EventKind
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import drums
from drumkeep.operations.drums import By, Happening
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx

_Shape = TypeVar("_Shape", bound=BaseModel)

_ALIASES: Final = {"from_": "from"}


def by_caller(caller: Caller) -> By:
    """Return who records, as the log keeps it."""
    return By(
        name=caller.display_name or caller.name, role=caller.role, account_id=caller.account_id
    )


def checked(
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


def event_of(body: Mapping[str, Any]) -> EventIn:
    """Check what was sent against the shape that its kind has.

    Raises
    ------
    Invalid
        The kind is not known.
    RequestValidationError
        Fields are missing, not known, or cannot be used.
    """
    kind = body.get("kind")
    if not isinstance(kind, str) or kind not in set(SHAPES):
        kinds = ", ".join(sorted(SHAPES))
        mend = f"Use one of: {kinds}. A drum is received by posting it to /drums."
        problem = "is missing" if kind is None else "is no kind of event"
        raise Invalid("The event cannot be recorded.", [Fault("kind", kind, problem, mend)])
    faults: list[Any] = []
    event = checked(SHAPES[EventKind(kind)], dict(body), faults=faults)
    if event is None:
        raise RequestValidationError(faults)
    return event


def happening_of(tx: Tx, event: EventIn) -> Happening:
    """Put an event in the domain's form, references resolved.

    Raises
    ------
    Invalid
        A reference is not known, or its fields do not hold together.
    """
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
