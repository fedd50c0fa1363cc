"""Queries on what people and programs changed."""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, or_
from sqlmodel import col, select

from drumkeep.domain.audit import AuditQuery
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.transaction import Tx

_SEARCHED = (
    AuditEntry.actor,
    AuditEntry.did,
    AuditEntry.kind,
    AuditEntry.object,
    AuditEntry.changes,
    AuditEntry.device,
    AuditEntry.address,
)


def entries(
    tx: Tx, *, query: AuditQuery, before: int | None = None, limit: int
) -> Sequence[AuditEntry]:
    """Return entries, the newest first, of those written before the one of this id."""
    statement = select(AuditEntry).where(*_conditions(query))
    if before is not None:
        statement = statement.where(col(AuditEntry.id) < before)
    return tx.session.exec(statement.order_by(col(AuditEntry.id).desc()).limit(limit)).all()


def _conditions(query: AuditQuery) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if query.who:
        found.append(col(AuditEntry.actor) == query.who)
    if query.did:
        found.append(col(AuditEntry.did).icontains(query.did, autoescape=True))
    if query.whole:
        found.append(col(AuditEntry.object) == query.thing)
    elif query.thing:
        found.append(col(AuditEntry.object).icontains(query.thing, autoescape=True))
    if query.text:
        found.append(or_(*(col(c).icontains(query.text, autoescape=True) for c in _SEARCHED)))
    if query.since is not None:
        found.append(col(AuditEntry.at) >= query.since)
    if query.until is not None:
        found.append(col(AuditEntry.at) < query.until)
    return found
