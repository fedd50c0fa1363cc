"""Look through what people and programs changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

import msgspec

from drumkeep.domain import tags
from drumkeep.domain.audit import AuditQuery, Part
from drumkeep.errors import Invalid
from drumkeep.storage import audit as stored
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.transaction import Tx

MOST_IN_A_FILE: Final = 50_000
"""Entries of one CSV file; for more, ask for a shorter time."""

_AT_ONCE: Final = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What one doer did to one thing, as it is kept; ``deed`` is that of all done in one go."""

    id: int
    at: datetime
    deed: str
    actor: str
    role: str
    way: str
    session: str | None
    device: str
    address: str
    did: str
    kind: str
    thing: str
    parts: tuple[Part, ...]


def find(tx: Tx, *, query: AuditQuery, before: int | None = None, limit: int) -> list[Entry]:
    """Return entries, the newest first, of those before the one of this id."""
    rows = stored.entries(tx, query=_understood(query), before=before, limit=limit)
    return [_entry(row) for row in rows]


def find_all(tx: Tx, *, query: AuditQuery) -> Iterator[Entry]:
    """Yield entries, the newest first, up to :data:`MOST_IN_A_FILE`."""
    wanted = _understood(query)
    before: int | None = None
    for _ in range(0, MOST_IN_A_FILE, _AT_ONCE):
        rows: Sequence[AuditEntry] = stored.entries(tx, query=wanted, before=before, limit=_AT_ONCE)
        yield from map(_entry, rows)
        if len(rows) < _AT_ONCE:
            return
        before = rows[-1].id


def _understood(query: AuditQuery) -> AuditQuery:
    """Read a tag however it was typed."""
    try:
        return replace(query, thing=tags.parse(query.thing), whole=True)
    except Invalid:
        return query


def _entry(row: AuditEntry) -> Entry:
    return Entry(
        id=row.id,
        at=row.at,
        deed=row.deed,
        actor=row.actor,
        role=row.role,
        way=row.way,
        session=row.session,
        device=row.device,
        address=row.address,
        did=row.did,
        kind=row.kind,
        thing=row.object,
        parts=tuple(msgspec.json.decode(row.changes, type=list[Part])),
    )
