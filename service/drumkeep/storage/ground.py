"""Places with the sensors that were ever mounted there: of all sites, or of some."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from typing import TypeVar

from sqlalchemy import func
from sqlmodel import col, select
from sqlmodel.sql.expression import SelectOfScalar

from drumkeep.storage.bulk import keyed
from drumkeep.storage.tables.catalogue import Calibration, Mount, Place, Sensor, Site
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx

_Row = TypeVar("_Row")

Sites = Collection[int] | None
"""Ids of sites; None for all."""

Places = Collection[int] | None
"""Ids of places; None for all of the sites that are asked for."""


def sites_around(tx: Tx, *, place_ids: Collection[int]) -> Sequence[int]:
    """Return the ids of the sites at which these places are."""
    here = keyed(tx.session.connection(), col(Place.id), place_ids)
    return tx.session.exec(select(Place.site_id).where(here).distinct()).all()


def sites(tx: Tx, *, site_ids: Sites = None) -> Sequence[Site]:
    """Return sites."""
    statement = select(Site).order_by(col(Site.id))
    if site_ids is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Site.id), site_ids))
    return tx.session.exec(statement).all()


def places(tx: Tx, *, site_ids: Sites = None) -> Sequence[Place]:
    """Return the places of sites."""
    return tx.session.exec(_of(tx, select(Place).order_by(col(Place.id)), site_ids)).all()


def names_of(tx: Tx, *, ids: Collection[int]) -> dict[int, str]:
    """Return the names of places by id."""
    here = keyed(tx.session.connection(), col(Place.id), ids)
    return dict(tx.session.exec(select(Place.id, Place.name).where(here)).all())


def count_places(tx: Tx) -> int:
    """Count the places of all sites."""
    return tx.session.exec(select(func.count()).select_from(Place)).one()


def place_mounts(tx: Tx, *, site_ids: Sites = None, place_ids: Places = None) -> Sequence[Mount]:
    """Return every mount in a place of sites, past ones too, oldest first."""
    mounts = select(Mount).join(Place, col(Mount.place_id) == col(Place.id))
    ordered = mounts.order_by(col(Mount.since), col(Mount.id))
    return tx.session.exec(_of(tx, ordered, site_ids, place_ids)).all()


def sensors(tx: Tx, *, site_ids: Sites = None, place_ids: Places = None) -> Sequence[Sensor]:
    """Return every sensor that ever hung in a place of sites."""
    hung = _hung(tx, site_ids, place_ids)
    return tx.session.exec(
        select(Sensor).where(col(Sensor.id).in_(hung)).order_by(col(Sensor.id))
    ).all()


def calibrations(
    tx: Tx, *, site_ids: Sites = None, place_ids: Places = None
) -> Sequence[Calibration]:
    """Return the calibrations of those sensors, oldest first."""
    return tx.session.exec(
        select(Calibration)
        .where(col(Calibration.sensor_id).in_(_hung(tx, site_ids, place_ids)))
        .order_by(col(Calibration.sensor_id), col(Calibration.since))
    ).all()


def films(
    tx: Tx, *, site_ids: Sites = None, place_ids: Places = None
) -> dict[int, list[PlaceFilm]]:
    """Return what was ever said of the films of places, by place id, oldest first."""
    found: dict[int, list[PlaceFilm]] = defaultdict(list)
    said = select(PlaceFilm).join(Place, col(PlaceFilm.place_id) == col(Place.id))
    ordered = said.order_by(col(PlaceFilm.since), col(PlaceFilm.id))
    for row in tx.session.exec(_of(tx, ordered, site_ids, place_ids)):
        found[row.place_id].append(row)
    return found


def drum_mounts(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Mount]:
    """Return every mount on these drums, past ones too, oldest first."""
    return tx.session.exec(
        select(Mount)
        .where(col(Mount.drum_id).in_(drum_ids))
        .order_by(col(Mount.since), col(Mount.id))
    ).all()


def hanging_on_drums(tx: Tx) -> Sequence[Mount]:
    """Return every mount on a drum, with no end set, oldest first."""
    return tx.session.exec(
        select(Mount)
        .where(col(Mount.drum_id).is_not(None), col(Mount.until).is_(None))
        .order_by(col(Mount.since), col(Mount.id))
    ).all()


def _of(
    tx: Tx, statement: SelectOfScalar[_Row], site_ids: Sites, place_ids: Places = None
) -> SelectOfScalar[_Row]:
    """Narrow a statement that knows places to those of sites, or to some places."""
    connection = tx.session.connection()
    if place_ids is not None:
        return statement.where(keyed(connection, col(Place.id), place_ids))
    if site_ids is None:
        return statement
    return statement.where(keyed(connection, col(Place.site_id), site_ids))


def _hung(tx: Tx, site_ids: Sites, place_ids: Places) -> SelectOfScalar[int]:
    mounted = select(Mount.sensor_id).join(Place, col(Mount.place_id) == col(Place.id))
    return _of(tx, mounted, site_ids, place_ids)
