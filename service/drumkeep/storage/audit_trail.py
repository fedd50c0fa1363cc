"""Notices what a doer changes in a transaction, and writes it down before the commit.

It hangs on the session: whatever rows are made, changed or removed there are noted, of every table
but those that machines fill. What has no doer (jobs, messages of gateways) leaves no trail.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from typing import Any, Final, cast

import msgspec
from sqlalchemy import Column, Table, UniqueConstraint, event, inspect
from sqlalchemy import insert as insert_into
from sqlalchemy.orm import SessionTransaction
from sqlmodel import Session, SQLModel

from drumkeep.domain.audit import Change, Doer, Part, Verb, deed
from drumkeep.storage.tables.audit import AuditEntry

DOER: Final[ContextVar[Doer | None]] = ContextVar("doer", default=None)
"""Who is behind what is done from here on."""

MACHINES: Final = frozenset(
    {
        # readings, and what is computed of them
        "checkpoint",
        "estimate",
        "glance",
        "measurement",
        "pour",
        "shelf_air",
        "stay",
        # messages: what was heard, refused, subscribed to and sent
        "broker_session",
        "job_fault",
        "lease",
        "notice",
        "place_mark",
        "reject",
        "session_site",
        "sparkplug_metric",
        "sparkplug_node",
        "spool_mark",
        "stray",
        "subscription",
        # a minute of somebody who has not signed in yet, and the trail itself
        "audit_entry",
        "sign_in_attempt",
    }
)
"""Tables that are left out: nobody decides on their rows."""

_BY_MACHINES: Final[Mapping[str, frozenset[str]]] = {
    "drum": frozenset({"revision", "from_ms"}),
    "gateway": frozenset(
        {"online", "presence_at", "last_seen_at", "clock_ahead_s", "clock_off_since"}
        | {"clock_off_at"}
    ),
    "alarm": frozenset({"published"}),
    "token": frozenset({"last_used_at"}),
    "external_identity": frozenset({"last_used_at"}),
}
"""Columns that are left out."""

SECRETS: Final = frozenset(
    {"hash", "password_hash", "secret", "salt", "token", "nonce", "verifier", "url"}
)
"""Columns, and keys within them, of which only is told that they were set."""

_TOLD_TOO: Final[Mapping[str, tuple[str, ...]]] = {"session": ("user_agent",)}
"""Columns without which nobody knew what was changed, though they were not."""

_KEPT: Final = "(not shown)"
_SET: Final = "(set anew, not shown)"
_LONGEST: Final = 400
_MOST_KEYS: Final = 60
_NAMES: Final = ("tag", "code", "name", "gtin")
_CALLED: Final = {"alarm": "cause"}
"""What a row is called though others may be called so too."""

_ENTRIES: Final = SQLModel.metadata.tables[AuditEntry.__tablename__]
_INFO: Final = "drumkeep_trail"


@dataclass
class Trail:
    """What the doer has changed in this transaction so far.

    Attributes
    ----------
    doer
        Who, and from where.
    did
        What it is called, if more is known than the rows tell.
    noted
        Deeds that leave no rows: (kind, object, what it is called, fields).
    """

    doer: Doer
    did: str | None = None
    noted: list[tuple[str, str, str, Mapping[str, Change]]] = field(default_factory=list)
    _rows: dict[int, tuple[SQLModel, Verb, dict[str, Change]]] = field(default_factory=dict)
    _marks: dict[SessionTransaction, "Trail"] = field(default_factory=dict)

    def mark(self, part: SessionTransaction) -> None:
        """Remember how far it went before a part of the transaction that may be undone."""
        self._marks[part] = replace(self, noted=[*self.noted], _rows={**self._rows})

    def go_back(self, part: SessionTransaction) -> None:
        """Forget what was noted in a part that was undone."""
        before = self._marks.pop(part, None)
        if before is not None:
            self.did, self.noted = before.did, before.noted
            self._rows = before._rows  # noqa: SLF001 - a copy of our own

    def see(self, row: SQLModel, verb: Verb, fields: Mapping[str, Change]) -> None:
        """Note a row; what was changed twice is told as from first to last."""
        _, first, before = self._rows.get(id(row), (row, verb, {}))
        if first == "made" and verb == "removed":
            del self._rows[id(row)]
            return
        merged = before | {
            name: (before[name][0] if name in before else old, new)
            for name, (old, new) in fields.items()
        }
        self._rows[id(row)] = (row, "made" if first == "made" else verb, merged)

    def settle(self, session: Session) -> None:
        """Write down what was noted, one entry for each thing that it was done to."""
        things: dict[tuple[str, str], list[Part]] = {}
        for row, verb, fields in self._rows.values():
            told = {name: pair for name, pair in _told(session, row, fields) if pair[0] != pair[1]}
            if told or verb != "changed":
                table = str(_table(row).name)
                for name in _TOLD_TOO.get(table, ()):
                    value = _plain(getattr(row, name))
                    told.setdefault(name, (value, value))
                part = Part(table, verb, told)
                things.setdefault(_thing(session, row), []).append(part)
        entries = [
            self._entry(kind, name, self.did or deed(parts), parts)
            for (kind, name), parts in things.items()
        ]
        entries += [
            self._entry(kind, name, did, [Part(kind, "made", fields)] if fields else [])
            for kind, name, did, fields in self.noted
        ]
        if entries:
            session.connection().execute(insert_into(_ENTRIES), entries)

    def _entry(self, kind: str, name: str, did: str, parts: list[Part]) -> dict[str, Any]:
        doer = self.doer
        return {
            "at": doer.at,
            "deed": doer.deed,
            "actor": doer.name[:120],
            "role": doer.role,
            "way": doer.way.value,
            "account_id": doer.account_id,
            "token_id": doer.token_id,
            "session": doer.session,
            "device": doer.device[:200],
            "address": doer.address[:64],
            "did": did[:64],
            "kind": kind,
            "object": name[:200],
            "changes": msgspec.json.encode(parts).decode(),
        }


@contextmanager
def acting(doer: Doer) -> Iterator[None]:
    """Have what is done in the block be this one's deed."""
    token = DOER.set(doer)
    try:
        yield
    finally:
        DOER.reset(token)


def follow(session: Session) -> Trail | None:
    """Begin to note what happens in a session, if somebody is behind it."""
    doer = DOER.get()
    if doer is None:
        return None
    trail = Trail(doer)
    session.info[_INFO] = trail
    return trail


def trail_of(session: Session) -> Trail | None:
    """Return what notes the changes of a session, if somebody is behind it."""
    return session.info.get(_INFO)


@event.listens_for(Session, "after_transaction_create")
def _mark(session: Session, part: SessionTransaction) -> None:
    trail = trail_of(session)
    if trail is not None and part.nested:
        trail.mark(part)


@event.listens_for(Session, "after_soft_rollback")
def _go_back(session: Session, part: SessionTransaction) -> None:
    trail = trail_of(session)
    if trail is not None:
        trail.go_back(part)


@event.listens_for(Session, "after_flush")
def _see(session: Session, _context: object) -> None:
    trail = trail_of(session)
    if trail is None:
        return
    rows = (("made", session.new), ("changed", session.dirty), ("removed", session.deleted))
    for verb, found in rows:
        for row in found:
            if _table(row).name not in MACHINES:
                trail.see(row, cast("Verb", verb), _fields(row, cast("Verb", verb)))


def _fields(row: SQLModel, verb: Verb) -> dict[str, Change]:
    fields: dict[str, Change] = {}
    state = inspect(row)
    for name in _columns(_table(row)):
        if verb == "changed":
            history = state.attrs[name].history
            if history.has_changes():
                fields[name] = (history.deleted[0] if history.deleted else None, history.added[0])
        elif verb == "made":
            fields[name] = (None, getattr(row, name))
        else:
            fields[name] = (getattr(row, name), None)
    return fields


@cache
def _columns(table: Table) -> tuple[str, ...]:
    """Name the columns of which something can be told."""
    left_out = _BY_MACHINES.get(table.name, frozenset())
    return tuple(str(c.name) for c in table.columns if not _is_id(c) and c.name not in left_out)


def _is_id(column: Column[Any]) -> bool:
    return column.name in {"id", "seq"} or (column.primary_key and bool(column.foreign_keys))


@cache
def _own_key(table: Table) -> tuple[str | None, str] | None:
    """Return what names a row to people: (column of what it lies in, own column), if anything."""
    if table.name in _CALLED:
        return None, _CALLED[table.name]
    for name in _NAMES:
        column = table.columns.get(name)
        if column is None:
            continue
        if column.unique or column.primary_key:
            return None, name
        for constraint in table.constraints:
            if isinstance(constraint, UniqueConstraint) and column.name in constraint.columns:
                others = [c.name for c in constraint.columns if c.foreign_keys]
                return (others[0] if others else None), name
    return None


def _thing(session: Session, row: SQLModel) -> tuple[str, str]:
    """Return what a row is, or of what it tells: (kind, what people call it)."""
    table = _table(row)
    key = _own_key(table)
    if key is not None:
        within, name = key
        outer = None if within is None else _referred(session, table, within, getattr(row, within))
        own = str(getattr(row, name))
        return str(table.name), own if outer is None else f"{outer[1]}/{own}"
    for column in table.columns:
        value = getattr(row, column.name)
        if column.foreign_keys and value is not None:
            found = _referred(session, table, column.name, value)
            if found is not None:
                return found
    return str(table.name), "/".join(str(getattr(row, c.name)) for c in table.primary_key)


def _referred(session: Session, table: Table, column: str, value: object) -> tuple[str, str] | None:
    """Return what a reference leads to."""
    key = next(iter(table.columns[column].foreign_keys))
    model = _models().get(key.column.table.name)
    if model is None or value is None:
        return None
    with session.no_autoflush:
        row = session.get(model, value)
    return None if row is None else _thing(session, row)


def _told(
    session: Session, row: SQLModel, fields: Mapping[str, Change]
) -> Iterable[tuple[str, Change]]:
    table = _table(row)
    for name, (old, new) in fields.items():
        column = table.columns[name]
        if name in SECRETS:
            yield name, _secret(old, new)
        elif column.foreign_keys:
            words = [_referred(session, table, name, value) for value in (old, new)]
            before, after = (None if found is None else found[1] for found in words)
            yield name.removesuffix("_id"), (before, after)
        elif isinstance(old, dict) or isinstance(new, dict):
            held, holds = (value if isinstance(value, dict) else {} for value in (old, new))
            for key in sorted(held.keys() | holds.keys(), key=str)[:_MOST_KEYS]:
                yield f"{name}.{key}", _pair(str(key), held.get(key), holds.get(key))
        else:
            yield name, _pair(name, old, new)


def _pair(name: str, old: object, new: object) -> Change:
    if name in SECRETS:
        return _secret(old, new)
    return _plain(old), _plain(new)


def _secret(old: object, new: object) -> Change:
    if old == new:
        return None, None
    return (None if old is None else _KEPT), (None if new is None else _SET)


def _plain(value: object) -> object:
    """Return a value as it may stand in JSON, and short."""
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, bytes):
        return f"{len(value)} bytes"
    if isinstance(value, date):  # a datetime is one
        return value.isoformat()
    if isinstance(value, str):
        text = value
    elif isinstance(value, list | tuple | dict):
        text = msgspec.json.encode(value).decode()
    else:
        text = str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"


def _table(row: SQLModel) -> Table:
    return cast("Table", row.__table__)  # type: ignore[attr-defined]


@cache
def _models() -> dict[str, type[SQLModel]]:
    mappers = SQLModel._sa_registry.mappers  # noqa: SLF001 - SQLModel hides its registry
    return {cast("Table", mapper.local_table).name: mapper.class_ for mapper in mappers}
