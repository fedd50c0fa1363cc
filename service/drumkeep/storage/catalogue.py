"""Queries on the catalogue: sites, places, products, lots, gateways, sensors and their mounts."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import TypeVar

from sqlalchemy import update
from sqlmodel import SQLModel, col, select
from sqlmodel.sql.expression import SelectOfScalar

from drumkeep.storage.tables.catalogue import (
    Calibration,
    Gateway,
    Lot,
    Mount,
    Place,
    Product,
    Sensor,
    Site,
)
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

_Row = TypeVar("_Row", bound=SQLModel)


def add(tx: Tx, row: _Row) -> _Row:
    """Store a new row and give it its id."""
    tx.session.add(row)
    tx.session.flush()  # the id, and the constraints now rather than at the end
    return row


def _page(
    tx: Tx, statement: SelectOfScalar[_Row], kind: type[_Row], *, after: int, limit: int
) -> Sequence[_Row]:
    key = col(kind.id)  # type: ignore[attr-defined]  # every paged table has one
    return tx.session.exec(statement.where(key > after).order_by(key).limit(limit)).all()


def site_by_code(tx: Tx, *, code: str) -> Site | None:
    """Return the site of this code."""
    return tx.session.exec(select(Site).where(Site.code == code)).one_or_none()


def list_sites(tx: Tx, *, after: int = 0, limit: int = 200) -> Sequence[Site]:
    """Return sites in the order in which they were made, past the id ``after``."""
    return _page(tx, select(Site), Site, after=after, limit=limit)


def zones(tx: Tx) -> list[str]:
    """Return the zones (IANA names) in which sites lie, each once."""
    return sorted(tx.session.exec(select(Site.timezone).distinct()))


def place_by_code(tx: Tx, *, site: str, code: str) -> Place | None:
    """Return the place of this code at the site of that code."""
    statement = select(Place).join(Site).where(Site.code == site, Place.code == code)
    return tx.session.exec(statement).one_or_none()


def list_places(
    tx: Tx,
    *,
    site: str | None = None,
    kind: str | None = None,
    after: int = 0,
    limit: int = 200,
) -> Sequence[Place]:
    """Return places past the id ``after``, of one site or kind if asked."""
    statement = select(Place).join(Site)
    if site is not None:
        statement = statement.where(Site.code == site)
    if kind is not None:
        statement = statement.where(Place.kind == kind)
    return _page(tx, statement, Place, after=after, limit=limit)


def places_of_site(tx: Tx, *, site_id: int) -> Sequence[Place]:
    """Return all places of a site."""
    return tx.session.exec(select(Place).where(Place.site_id == site_id)).all()


def product_by_code(tx: Tx, *, code: str) -> Product | None:
    """Return the product of this code."""
    return tx.session.exec(select(Product).where(Product.code == code)).one_or_none()


def list_products(
    tx: Tx, *, side: str | None = None, after: int = 0, limit: int = 200
) -> Sequence[Product]:
    """Return products past the id ``after``, of one side if asked."""
    statement = select(Product)
    if side is not None:
        statement = statement.where(Product.side == side)
    return _page(tx, statement, Product, after=after, limit=limit)


def lot_by_code(tx: Tx, *, product: str, code: str) -> Lot | None:
    """Return the lot of this code of the product of that code."""
    statement = select(Lot).join(Product).where(Product.code == product, Lot.code == code)
    return tx.session.exec(statement).one_or_none()


def list_lots(
    tx: Tx, *, product: str | None = None, after: int = 0, limit: int = 200
) -> Sequence[Lot]:
    """Return lots past the id ``after``, of one product if asked."""
    statement = select(Lot).join(Product)
    if product is not None:
        statement = statement.where(Product.code == product)
    return _page(tx, statement, Lot, after=after, limit=limit)


def gateway_by_code(tx: Tx, *, site: str, code: str) -> Gateway | None:
    """Return the gateway of this code at the site of that code."""
    statement = select(Gateway).join(Site).where(Site.code == site, Gateway.code == code)
    return tx.session.exec(statement).one_or_none()


def gateway_by_urn(tx: Tx, *, urn: str) -> Gateway | None:
    """Return the gateway of this URN."""
    return tx.session.exec(select(Gateway).where(Gateway.urn == urn)).one_or_none()


def list_gateways(
    tx: Tx, *, site: str | None = None, after: int = 0, limit: int = 200
) -> Sequence[Gateway]:
    """Return gateways past the id ``after``, of one site if asked."""
    statement = select(Gateway).join(Site)
    if site is not None:
        statement = statement.where(Site.code == site)
    return _page(tx, statement, Gateway, after=after, limit=limit)


def sensor_by_name(tx: Tx, *, name: str) -> Sensor | None:
    """Return the sensor of this SenML name."""
    return tx.session.exec(select(Sensor).where(Sensor.name == name)).one_or_none()


def list_sensors(
    tx: Tx, *, place_id: int | None = None, after: int = 0, limit: int = 200
) -> Sequence[Sensor]:
    """Return sensors past the id ``after``, those mounted now in one place if asked."""
    statement = select(Sensor)
    if place_id is not None:
        mounted = select(Mount.sensor_id).where(
            Mount.place_id == place_id, col(Mount.until).is_(None)
        )
        statement = statement.where(col(Sensor.id).in_(mounted))
    return _page(tx, statement, Sensor, after=after, limit=limit)


def mounts_of(tx: Tx, *, sensor_ids: Sequence[int]) -> Sequence[Mount]:
    """Return every mount of these sensors, oldest first."""
    statement = (
        select(Mount)
        .where(col(Mount.sensor_id).in_(sensor_ids))
        .order_by(col(Mount.sensor_id), col(Mount.since), col(Mount.id))
    )
    return tx.session.exec(statement).all()


def calibrations_of(tx: Tx, *, sensor_ids: Sequence[int]) -> Sequence[Calibration]:
    """Return every calibration of these sensors, oldest first."""
    statement = (
        select(Calibration)
        .where(col(Calibration.sensor_id).in_(sensor_ids))
        .order_by(col(Calibration.sensor_id), col(Calibration.since))
    )
    return tx.session.exec(statement).all()


def calibration_at(tx: Tx, *, sensor_id: int, since: datetime) -> Calibration | None:
    """Return the calibration that begins at exactly this time."""
    return tx.session.get(Calibration, (sensor_id, since))


def sites_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Site]:
    """Return the sites of these ids by id."""
    return _by_id(tx, Site, ids)


def places_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Place]:
    """Return the places of these ids by id."""
    return _by_id(tx, Place, ids)


def products_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Product]:
    """Return the products of these ids by id."""
    return _by_id(tx, Product, ids)


def lots_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Lot]:
    """Return the lots of these ids by id."""
    return _by_id(tx, Lot, ids)


def sensors_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Sensor]:
    """Return the sensors of these ids by id."""
    return _by_id(tx, Sensor, ids)


def place_references(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, str]:
    """Return places by id as people write them, ``site/code``."""
    statement = (
        select(Place.id, Site.code, Place.code)
        .join(Site)
        .where(col(Place.id).in_({i for i in ids if i is not None}))
    )
    return {place_id: f"{site}/{code}" for place_id, site, code in tx.session.exec(statement)}


def gateway_references(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, str]:
    """Return gateways by id as people write them, ``site/code``."""
    statement = (
        select(Gateway.id, Site.code, Gateway.code)
        .join(Site)
        .where(col(Gateway.id).in_({i for i in ids if i is not None}))
    )
    return {gateway_id: f"{site}/{code}" for gateway_id, site, code in tx.session.exec(statement)}


def place_names(tx: Tx, *, references: Collection[str]) -> dict[str, str]:
    """Return what places are called, by how people write them, ``site/code``."""
    codes = {reference.partition("/")[2] for reference in references}
    statement = (
        select(Site.code, Place.code, Place.name).join(Place).where(col(Place.code).in_(codes))
    )
    found = {f"{site}/{code}": name for site, code, name in tx.session.exec(statement)}
    return {reference: found[reference] for reference in references if reference in found}


def site_names(tx: Tx, *, codes: Collection[str]) -> dict[str, str]:
    """Return what sites are called, by code."""
    statement = select(Site.code, Site.name).where(col(Site.code).in_(codes))
    return dict(tx.session.exec(statement).all())


def product_names(tx: Tx, *, codes: Collection[str]) -> dict[str, str]:
    """Return what products are called, by code."""
    statement = select(Product.code, Product.name).where(col(Product.code).in_(codes))
    return dict(tx.session.exec(statement).all())


def mark_drums_of(tx: Tx, *, product_id: int) -> None:
    """Have all drums of a product computed again from the beginning."""
    lots = select(Lot.id).where(Lot.product_id == product_id)
    tx.session.execute(
        update(Drum)
        .where(col(Drum.lot_id).in_(lots))
        # A computation that began before this is not to be stored over it.
        .values(from_ms=0, revision=col(Drum.revision) + 1)
    )


def mark_drums_of_lot(tx: Tx, *, lot_id: int) -> None:
    """Have all drums of a lot computed again from the beginning."""
    tx.session.execute(
        update(Drum)
        .where(col(Drum.lot_id) == lot_id)
        .values(from_ms=0, revision=col(Drum.revision) + 1)
    )


def _by_id(tx: Tx, kind: type[_Row], ids: Sequence[int | None]) -> dict[int, _Row]:
    key = col(kind.id)  # type: ignore[attr-defined]  # every table asked for has one
    wanted = {i for i in ids if i is not None}
    if not wanted:
        return {}
    rows = tx.session.exec(select(kind).where(key.in_(wanted))).all()
    return {row.id: row for row in rows}  # type: ignore[attr-defined]
