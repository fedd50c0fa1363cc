"""Queries on counts of what stands in a place."""

from collections.abc import Sequence
from typing import Final
from uuid import UUID

from sqlmodel import col, func, select

from drumkeep.storage.tables.counts import Count, CountDifference, CountSeen
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 500


def count_by_id(tx: Tx, *, count_id: int) -> Count | None:
    """Return a count."""
    return tx.session.get(Count, count_id)


def count_by_client(tx: Tx, *, client_id: UUID) -> Count | None:
    """Return the count that a client began under this id."""
    return tx.session.exec(select(Count).where(Count.client_id == client_id)).one_or_none()


def open_count(tx: Tx, *, place_id: int) -> Count | None:
    """Return the count of a place that is not finished."""
    return tx.session.exec(
        select(Count)
        .where(Count.place_id == place_id, col(Count.finished_at).is_(None))
        .order_by(col(Count.id).desc())
    ).first()


def counts(tx: Tx, *, before: int | None = None, limit: int) -> Sequence[Count]:
    """Return counts, the latest first, before an id if asked."""
    statement = select(Count)
    if before is not None:
        statement = statement.where(Count.id < before)
    return tx.session.exec(statement.order_by(col(Count.id).desc()).limit(limit)).all()


def seen(tx: Tx, *, count_id: int) -> Sequence[CountSeen]:
    """Return what was seen, in the order in which it was."""
    return tx.session.exec(
        select(CountSeen).where(CountSeen.count_id == count_id).order_by(col(CountSeen.id))
    ).all()


def seen_tag(tx: Tx, *, count_id: int, tag: str) -> CountSeen | None:
    """Return when a tag was seen."""
    return tx.session.exec(
        select(CountSeen).where(CountSeen.count_id == count_id, CountSeen.tag == tag)
    ).one_or_none()


def seen_numbers(tx: Tx, *, count_ids: Sequence[int]) -> dict[int, int]:
    """Return how many were seen, by count."""
    statement = (
        select(CountSeen.count_id, func.count())
        .where(col(CountSeen.count_id).in_(count_ids))
        .group_by(col(CountSeen.count_id))
    )
    return dict(tx.session.exec(statement).all())


def differences(tx: Tx, *, count_ids: Sequence[int]) -> Sequence[CountDifference]:
    """Return the differences that finished counts found, by count and tag."""
    return tx.session.exec(
        select(CountDifference)
        .where(col(CountDifference.count_id).in_(count_ids))
        .order_by(col(CountDifference.count_id), col(CountDifference.id))
    ).all()


def difference(tx: Tx, *, count_id: int, tag: str) -> CountDifference | None:
    """Return the difference that a finished count found of a tag."""
    return tx.session.exec(
        select(CountDifference).where(
            CountDifference.count_id == count_id, CountDifference.tag == tag
        )
    ).one_or_none()


def drums_concerned(tx: Tx, *, tags: Sequence[str], place_id: int) -> list[Drum]:
    """Return the drums of these tags, gone ones too, and all present drums of the place."""
    found: dict[int, Drum] = {}
    for start in range(0, len(tags), _AT_ONCE):
        statement = select(Drum).where(col(Drum.tag).in_(tags[start : start + _AT_ONCE]))
        found |= {drum.id: drum for drum in tx.session.exec(statement)}
    here = select(Drum).where(Drum.place_id == place_id, col(Drum.ended).is_(None))
    return list((found | {drum.id: drum for drum in tx.session.exec(here)}).values())
