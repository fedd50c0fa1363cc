"""Queries on the weekly checks of rigs."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import select as select_rows
from sqlmodel import col, func, select

from drumkeep.storage.bulk import keyed
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.tables.rig_checks import RigCheck
from drumkeep.storage.transaction import Tx


def rigs(tx: Tx, *, sites: Sites = None) -> list[tuple[Place, Site]]:
    """Return the places of sites that are rigs, each with its site."""
    statement = (
        select(Place, Site)
        .join(Site, col(Site.id) == col(Place.site_id))
        .where(Place.kind == "rig")
        .order_by(col(Site.name), col(Place.name))
    )
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Place.site_id), sites))
    return list(tx.session.exec(statement).all())


def spans(tx: Tx, *, sites: Sites = None) -> list[tuple[int, str, datetime, datetime]]:
    """Return of each rig of sites and each part (place id, part) the first look and the last."""
    statement = select_rows(
        col(RigCheck.place_id), col(RigCheck.part), func.min(RigCheck.at), func.max(RigCheck.at)
    ).group_by(col(RigCheck.place_id), col(RigCheck.part))
    if sites is not None:
        here = keyed(tx.session.connection(), col(Place.site_id), sites)
        statement = statement.join(Place, col(Place.id) == col(RigCheck.place_id)).where(here)
    return [tuple(row) for row in tx.session.execute(statement)]


def last_checks(tx: Tx) -> dict[tuple[int, str], RigCheck]:
    """Return the last look at each part of each rig, by place id and part."""
    latest = (
        select_rows(
            col(RigCheck.place_id).label("place_id"),
            col(RigCheck.part).label("part"),
            func.max(RigCheck.at).label("at"),
        )
        .group_by(col(RigCheck.place_id), col(RigCheck.part))
        .subquery()
    )
    statement = (
        select(RigCheck)
        .join(
            latest,
            (col(RigCheck.place_id) == latest.c.place_id)
            & (col(RigCheck.part) == latest.c.part)
            & (col(RigCheck.at) == latest.c.at),
        )
        .order_by(col(RigCheck.seq))  # of equal times the last recorded
    )
    return {(row.place_id, row.part): row for row in tx.session.exec(statement)}


def check_by_id(tx: Tx, *, check_id: UUID) -> RigCheck | None:
    """Return the look that was recorded under this id."""
    return tx.session.exec(select(RigCheck).where(RigCheck.id == check_id)).one_or_none()


def checks(
    tx: Tx, *, place_id: int | None = None, before: int | None = None, limit: int
) -> Sequence[RigCheck]:
    """Return looks, latest recorded first, of one rig if asked, before a row if asked."""
    statement = select(RigCheck)
    if place_id is not None:
        statement = statement.where(RigCheck.place_id == place_id)
    if before is not None:
        statement = statement.where(RigCheck.seq < before)
    return tx.session.exec(statement.order_by(col(RigCheck.seq).desc()).limit(limit)).all()
