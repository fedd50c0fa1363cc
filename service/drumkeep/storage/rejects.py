"""What could not be stored, kept with its reason; a bounded table."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b
from typing import Final

from sqlalchemy import delete, func
from sqlmodel import col, select

from drumkeep.storage.tables.readings import Reject
from drumkeep.storage.transaction import Tx

KEPT: Final = 10_000
"""Rows that stay; the oldest go first."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing that could not be stored.

    Attributes
    ----------
    source
        MQTT topic, or ``http``.
    digest
        Names the payload, so that the same one again is counted and not kept twice.
    record
        Place in the pack of the first record that it is true of; None for the pack as a whole.
    field, value, problem, mend
        The reason, as in :class:`drumkeep.errors.Fault`.
    records
        How many records of the pack it is true of.
    payload
        The first octets of the pack.
    size
        How many octets the pack had.
    """

    source: str
    digest: str
    record: int | None
    field: str
    value: object
    problem: str
    mend: str
    records: int
    payload: bytes
    size: int


def add(tx: Tx, *, refusals: Iterable[Refusal], now: datetime, keep: int = KEPT) -> None:
    """Keep refusals, count those that came before, and let all but the newest rows go."""
    rows = {row.key: row for row in (_row(refusal, now) for refusal in refusals)}
    if not rows:
        return
    known = tx.session.exec(select(Reject).where(col(Reject.key).in_(rows))).all()
    for seen in known:
        seen.times += 1
        seen.received_at = now
        del rows[seen.key]
    tx.session.add_all(rows.values())
    tx.session.flush()  # the ids, by which the oldest are known
    newest = tx.session.exec(select(func.max(Reject.id))).one() or 0
    tx.session.exec(delete(Reject).where(col(Reject.id) <= newest - keep))


def list_rejects(tx: Tx, *, before: int | None = None, limit: int = 200) -> Sequence[Reject]:
    """Return refusals, the newest first; those with an id below ``before`` if asked."""
    statement = select(Reject).order_by(col(Reject.id).desc()).limit(limit)
    if before is not None:
        statement = statement.where(col(Reject.id) < before)
    return tx.session.exec(statement).all()


def _row(refusal: Refusal, now: datetime) -> Reject:
    value = "" if refusal.value is None else _plain(refusal.value, 200)
    told = f"{refusal.digest}\0{refusal.field}\0{value}\0{refusal.problem}"
    return Reject(
        key=blake2b(told.encode(), digest_size=32).hexdigest(),
        received_at=now,
        source=_plain(refusal.source, 400),
        record=refusal.record,
        field=_plain(refusal.field, 200),
        value=value,
        problem=_plain(refusal.problem, 400),
        mend=_plain(refusal.mend, 400),
        records=refusal.records,
        size=refusal.size,
        payload=refusal.payload,
    )


def _plain(value: object, longest: int) -> str:
    """Write anything as text that every database stores: no lone surrogates, no NUL."""
    text = str(value)[:longest].encode(errors="backslashreplace").decode()
    return text.replace("\0", "\\0")[:longest]
