"""Queries on claims."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import func
from sqlalchemy import select as select_rows
from sqlalchemy.orm import defer
from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.tables.claims import Claim, ClaimDrum, ClaimNote, ClaimPhoto
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """A claim as a list tells of it, without its record."""

    claim: Claim
    lot: Lot
    product: Product
    drums: int


def add(tx: Tx, *, claim: Claim, drum_ids: Sequence[int], photo_ids: Sequence[int]) -> Claim:
    """Store a claim with its drums and the photos that it rests on."""
    tx.session.add(claim)
    tx.session.flush()
    for drum_id in drum_ids:
        tx.session.add(ClaimDrum(drum_id=drum_id, claim_id=claim.id))
    for photo_id in photo_ids:
        tx.session.add(ClaimPhoto(claim_id=claim.id, photo_id=photo_id))
    tx.session.flush()
    return claim


def by_id(tx: Tx, *, claim_id: int) -> Claim | None:
    """Return a claim."""
    return tx.session.get(Claim, claim_id)


def by_key(tx: Tx, *, key: UUID) -> Claim | None:
    """Return the claim of this client's UUID."""
    return tx.session.exec(select(Claim).where(Claim.key == key)).one_or_none()


def of_drums(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, int]:
    """Return the ids of the claims of drums, by drum id; most have none."""
    rows = tx.session.exec(
        select(ClaimDrum.drum_id, ClaimDrum.claim_id).where(col(ClaimDrum.drum_id).in_(drum_ids))
    ).all()
    return dict(rows)


def lines(tx: Tx, *, lot_id: int | None = None, after: int = 0, limit: int) -> list[ClaimLine]:
    """Return claims past an id, oldest first."""
    counts = (
        select_rows(col(ClaimDrum.claim_id), func.count().label("drums"))
        .group_by(col(ClaimDrum.claim_id))
        .subquery()
    )
    statement = (
        select_rows(Claim, Lot, Product, counts.c.drums)
        .options(defer(Claim.record))  # type: ignore[arg-type]  # an attribute of the table
        .join(Lot, col(Lot.id) == col(Claim.lot_id))
        .join(Product, col(Product.id) == col(Lot.product_id))
        .join(counts, counts.c.claim_id == col(Claim.id))
        .where(col(Claim.id) > after)
        .order_by(col(Claim.id))
        .limit(limit)
    )
    if lot_id is not None:
        statement = statement.where(col(Claim.lot_id) == lot_id)
    return [ClaimLine(*row) for row in tx.session.execute(statement)]


def states(tx: Tx, *, claim_ids: Sequence[int]) -> Mapping[int, str]:
    """Return the states that claims were said to be in last; those never said so have no entry."""
    newest = (
        select_rows(func.max(ClaimNote.id))
        .where(col(ClaimNote.claim_id).in_(claim_ids), col(ClaimNote.state).is_not(None))
        .group_by(col(ClaimNote.claim_id))
    )
    rows = tx.session.exec(
        select(ClaimNote.claim_id, ClaimNote.state).where(col(ClaimNote.id).in_(newest))
    ).all()
    return {claim_id: state for claim_id, state in rows if state is not None}


def notes(tx: Tx, *, claim_id: int) -> Sequence[ClaimNote]:
    """Return what became of a claim, oldest first."""
    return tx.session.exec(
        select(ClaimNote).where(ClaimNote.claim_id == claim_id).order_by(col(ClaimNote.id))
    ).all()


def note_by_key(tx: Tx, *, key: UUID) -> ClaimNote | None:
    """Return the note of this client's UUID."""
    return tx.session.exec(select(ClaimNote).where(ClaimNote.key == key)).one_or_none()


def add_note(tx: Tx, note: ClaimNote) -> ClaimNote:
    """Store a note."""
    tx.session.add(note)
    tx.session.flush()
    return note


def drums_rested_on(tx: Tx, *, settled: str, since: datetime) -> Sequence[int]:
    """Return the ids of drums with a claim that is not settled, or was since a time.

    Parameters
    ----------
    settled
        The state that ends a claim.
    since
        Claims settled earlier do not count.
    """
    newest = (
        select_rows(func.max(ClaimNote.id))
        .where(col(ClaimNote.state).is_not(None))
        .group_by(col(ClaimNote.claim_id))
    )
    over = select_rows(col(ClaimNote.claim_id)).where(
        col(ClaimNote.id).in_(newest),
        col(ClaimNote.state) == settled,
        col(ClaimNote.at) < since,
    )
    return tx.session.exec(
        select(ClaimDrum.drum_id).where(col(ClaimDrum.claim_id).not_in(over))
    ).all()
