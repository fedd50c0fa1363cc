"""Entries of the audit as the page and its file show them."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import quote

from drumkeep.domain.audit import Part
from drumkeep.operations.audit import Entry
from drumkeep.web.formats import Formats
from drumkeep.web.views.audit_fields import NOUNS, VERBS, field_name, field_value
from drumkeep.web.views.audit_names import Names, name_of
from drumkeep.web.views.people import device_words

COLUMNS: Final = (
    "at",
    "who",
    "role",
    "way",
    "address",
    "device",
    "session",
    "did",
    "kind",
    "thing",
    "field",
    "deed",
)

_WAYS: Final = {"page": "on the pages", "api": "by the API", "command": "by command"}
_LED: Final = {"drum": "/drums/", "account": "/people#", "product": "/products/"}
_IMPLIED: Final = frozenset(
    {
        "account",
        "address",
        "by",
        "created_at",
        "client_id",
        "created_by",
        "key",
        "made_by",
        "recorded_at",
        "user_agent",
    }
)
"""Fields of new rows that say again who did it when and from where; the file has them."""

_EVENT_IMPLIED: Final = frozenset({"kind", "data.to", "data.place", "data.from"})
"""Of an event: what it is called already, and references that the drum's own fields name."""

_MOMENT: Final = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):[\d.]+(?:\+00:00|Z)?")


@dataclass(frozen=True, slots=True)
class FieldLine:
    """A field's value before and after, in words; empty: there was none."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLine:
    """An entry; ``leads`` to the page of the thing, if it has one.

    ``called`` is what people call the thing; None where that is ``thing`` itself.
    """

    at: datetime
    who: str
    role: str
    way: str
    address: str
    device: str
    did: str
    kind: str
    thing: str
    called: str | None
    leads: str | None
    fields: tuple[FieldLine, ...]


def audit_line(entry: Entry, formats: Formats, *, names: Names) -> AuditLine:
    """Return an entry as the page shows it, with the names of what it tells of by code."""
    led = _LED.get(entry.kind)
    return AuditLine(
        at=entry.at,
        who=entry.actor,
        role=entry.role,
        way=_WAYS.get(entry.way, entry.way),
        address=entry.address,
        device=entry.device if entry.way == "command" else device_words(entry.device),
        did=VERBS.get(entry.did, entry.did),
        kind=NOUNS.get(entry.kind, entry.kind.replace("_", " ")),
        thing=entry.thing,
        called=name_of(names, entry.kind, entry.thing),
        leads=led + quote(entry.thing, safe="") if led and entry.thing else None,
        fields=_field_lines(entry, formats, names=names),
    )


def csv_row(entry: Entry) -> tuple[str, ...]:
    """Return an entry as a row of the file."""
    fields = "; ".join(
        f"{_kept_name(entry, part, name)}: {_change(before, after)}"
        for part in entry.parts
        for name, (before, after) in part.fields.items()
    )
    return (
        entry.at.isoformat(),
        entry.actor,
        entry.role,
        entry.way,
        entry.address,
        entry.device,
        entry.session or "",
        entry.did,
        entry.kind,
        entry.thing,
        fields,
        entry.deed,
    )


def _field_lines(entry: Entry, formats: Formats, *, names: Names) -> tuple[FieldLine, ...]:
    return tuple(
        FieldLine(
            name=_name(entry, part, name, formats),
            before="" if before == after else field_value(name, before, formats, names=names),
            after=field_value(name, after, formats, names=names),
        )
        for part in entry.parts
        for name, (before, after) in part.fields.items()
        if not _is_implied(entry, part, name)
    )


def _is_implied(entry: Entry, part: Part, name: str) -> bool:
    if part.of == "drum_event" and name in _EVENT_IMPLIED:
        return True
    return part.verb == "made" and (name in _IMPLIED or part.fields[name][1] == entry.thing)


def _name(entry: Entry, part: Part, name: str, formats: Formats) -> str:
    words = field_name(name.removeprefix("data."), formats)
    if _is_own(entry, part):
        return words
    noun = NOUNS.get(part.of, part.of.replace("_", " "))
    return f"{formats.words(noun)}, {words}"


def _kept_name(entry: Entry, part: Part, name: str) -> str:
    plain = name.removeprefix("data.")
    own = _is_own(entry, part)
    return (plain if own else f"{part.of} {plain}").replace("_", " ").replace(".", " ")


def _change(before: object, after: object) -> str:
    was = "" if before == after else _kept(before)
    return f"{was or '-'} -> {_kept(after) or '-'}"


def _is_own(entry: Entry, part: Part) -> bool:
    return part.of in {entry.kind, f"{entry.kind}_event"}


def _kept(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return _MOMENT.sub(r"\1 \2 UTC", str(value))
