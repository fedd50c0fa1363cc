"""From an event as sent, by API or by form, to a happening that operations record."""

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Final, TypeVar

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.event_shapes import SHAPES, CorrectedIn, DrumIn, EventIn
from drumkeep.asgi.faults import fault_of
from drumkeep.domain.events import EventKind
from drumkeep.errors import Fault, Invalid, faults_within
from drumkeep.operations.drums import By, Happening, drum_named
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx

_Shape = TypeVar("_Shape", bound=BaseModel)

_PLACES: Final = {EventKind.MOVED: ("to", "from"), EventKind.RECEIVED: ("place", "from")}
_DRUMS: Final = {
    EventKind.DECANTED: ("to",),
    EventKind.TOPPED: ("from",),
    EventKind.RATIO_OFF: ("with",),
}

_FIXED: Final = frozenset({"id", "kind", "at", "note", "product", "lot", "tag", "share", "tare_kg"})
"""Fields that a correction does not change: what an event is, and what its drum is by itself."""


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
    data = event.model_dump(exclude={"id", "kind", "at", "note"}, exclude_none=True, by_alias=True)
    data = _correction(tx, event) if isinstance(event, CorrectedIn) else _resolved(tx, kind, data)
    if kind is EventKind.WEIGHED and len(data.keys() & {"gross_kg", "net_kg"}) != 1:
        mend = "Give one of gross_kg and net_kg."
        raise Invalid(
            "The weight is not clear.", [Fault("net_kg", data.get("net_kg"), "is not one", mend)]
        )
    seen_in = data.pop("from", None) if kind is EventKind.MOVED else None
    return Happening(
        event_id=event.id, kind=kind, at=event.at, data=data, note=event.note, seen_in=seen_in
    )


def _resolved(tx: Tx, kind: EventKind, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Put a kind's own fields as the log keeps them: places as ids, times as text."""
    data = {
        name: value.isoformat() if isinstance(value, date) else value  # a day, or a time
        for name, value in fields.items()
    }
    for name in _PLACES.get(kind, ()):
        if data.get(name) is not None:
            data[name] = place_named(tx, reference=data[name], field=name).id
    for name in _DRUMS.get(kind, ()):
        if data.get(name) is not None:
            data[name] = drum_named(tx, reference=data[name], field=name).tag
    return data


def _correction(tx: Tx, event: CorrectedIn) -> dict[str, Any]:
    """Check a correction's new fields against the shape of the kind that it corrects."""
    told: dict[str, Any] = {"event": str(event.event)}
    if event.void:
        return {**told, "void": True}
    if event.new_at is not None:
        told["at"] = event.new_at.isoformat()
    stored = rows.event_by_id(tx, event_id=event.event)
    if event.data and stored is not None and stored.kind != EventKind.CORRECTED:
        kind = EventKind(stored.kind)
        with faults_within("data"):
            told["data"] = _resolved(tx, kind, _corrected_fields(kind, event.data))
    elif not event.data and event.new_at is None:
        mend = "Give new_at, data, or void true."
        raise Invalid("Nothing is corrected.", [Fault("data", event.data, "says nothing", mend)])
    # An event that is not there is found missing when the correction is recorded.
    return told


def _corrected_fields(kind: EventKind, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Check some fields of a kind, each by itself, and return them converted."""
    shape: type[BaseModel] = DrumIn if kind is EventKind.RECEIVED else SHAPES[kind]
    own = {
        info.alias or name: info for name, info in shape.model_fields.items() if name not in _FIXED
    }
    if kind is EventKind.MOVED:
        del own["from"]  # what somebody saw before, and no part of the record
    faults: list[Fault] = []
    data: dict[str, Any] = {}
    for name, value in fields.items():
        if name not in own:
            mend = f"Use one of: {', '.join(sorted(own))}." if own else "Give new_at, or void true."
            faults.append(Fault(name, value, f"is no field that can change of {kind.value}", mend))
            continue
        try:
            data[name] = _one_field(own[name]).validate_python(value)
        except ValidationError as error:
            faults += [
                fault_of({**found, "loc": (name, *found["loc"])})
                for found in error.errors(include_url=False)
            ]
    if faults:
        raise Invalid("The correction cannot be used.", faults)
    return data


def _one_field(info: FieldInfo) -> TypeAdapter[Any]:
    kind: Any = info.annotation
    if info.metadata:
        kind = Annotated[(kind, *info.metadata)]
    return TypeAdapter(kind, config=ConfigDict(strict=True, allow_inf_nan=False))
