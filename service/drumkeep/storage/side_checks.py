"""Queries on checks of two drums before they are hooked up."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import col, func, or_, select

from drumkeep.storage.bulk import keyed
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.side_checks import SideCheck
from drumkeep.storage.transaction import Tx


def check_by_id(tx: Tx, *, check_id: int) -> SideCheck | None:
    """Return a check."""
    return tx.session.get(SideCheck, check_id)


def check_by_client(tx: Tx, *, client_id: UUID) -> SideCheck | None:
    """Return the check that a client asked for under this id."""
    return tx.session.exec(select(SideCheck).where(SideCheck.client_id == client_id)).one_or_none()


def checks(
    tx: Tx,
    *,
    drum_id: int | None = None,
    answer: str | None = None,
    before: int | None = None,
    limit: int,
) -> Sequence[SideCheck]:
    """Return checks, the latest first: of a drum, of an answer, before an id, if asked."""
    statement = select(SideCheck)
    if drum_id is not None:
        statement = statement.where(
            or_(col(SideCheck.first_id) == drum_id, col(SideCheck.second_id) == drum_id)
        )
    if answer is not None:
        statement = statement.where(SideCheck.answer == answer)
    if before is not None:
        statement = statement.where(SideCheck.id < before)
    return tx.session.exec(statement.order_by(col(SideCheck.id).desc()).limit(limit)).all()


def checks_since(
    tx: Tx, *, since: datetime, answers: Sequence[str], sites: Sites = None
) -> list[tuple[SideCheck, Place, Site]]:
    """Return checks with some answers at sites, the oldest first.

    Each with its rig and site; without a rig with where the first drum is.
    """
    where = func.coalesce(col(SideCheck.place_id), col(Drum.place_id))
    statement = (
        select(SideCheck, Place, Site)
        .join(Drum, col(Drum.id) == col(SideCheck.first_id))
        .join(Place, col(Place.id) == where)
        .join(Site, col(Site.id) == col(Place.site_id))
        .where(SideCheck.at >= since, col(SideCheck.answer).in_(answers))
        .order_by(col(SideCheck.id))
    )
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Place.site_id), sites))
    return list(tx.session.exec(statement).all())


def present_in(tx: Tx, *, place_id: int) -> Sequence[int]:
    """Return the ids of drums that stand in a place."""
    return tx.session.exec(
        select(Drum.id).where(Drum.place_id == place_id, col(Drum.ended).is_(None))
    ).all()
