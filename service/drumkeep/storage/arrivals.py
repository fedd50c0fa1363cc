"""What ingest must know of the catalogue: who sends, which sensors are known, where they hang."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select as select_columns
from sqlalchemy import update
from sqlmodel import col, select

from drumkeep.storage.bulk import keyed, rows_keyed
from drumkeep.storage.tables.catalogue import Gateway, Mount, Site
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class KnownSensor:
    """A registered sensor; ``gateway_id`` is what it is connected to, if that is on record."""

    id: int
    name: str
    quantity: str
    gateway_id: int | None


@dataclass(frozen=True, slots=True)
class Hanging:
    """A sensor in a place, or else on a drum, from ``since`` till before ``until``."""

    sensor_id: int
    place_id: int | None
    drum_id: int | None
    since: datetime
    until: datetime | None


def gateways_of_sites(tx: Tx, *, sites: Collection[str]) -> dict[tuple[str, str], int]:
    """Return the ids of the gateways of these sites, by the codes of site and gateway."""
    rows = rows_keyed(
        tx,
        select="SELECT site.code, gateway.code, gateway.id "
        "FROM gateway JOIN site ON site.id = gateway.site_id",
        column="site.code",
        kind="text",
        keys=sites,
    )
    return {(site, code): gateway_id for site, code, gateway_id in rows}


def note_heard(tx: Tx, *, gateway_ids: Collection[int], now: datetime) -> None:
    """Note that these gateways sent something."""
    connection = tx.session.connection()
    heard = keyed(connection, col(Gateway.id), gateway_ids)
    connection.execute(update(Gateway).where(heard).values(last_seen_at=now))


def note_presence(
    tx: Tx, *, site: str, gateway: str, online: bool, since: datetime, now: datetime
) -> bool:
    """Note that a gateway is there, or not; False when none of these codes is registered."""
    known = tx.session.exec(
        select(Gateway).join(Site).where(Site.code == site, Gateway.code == gateway)
    ).one_or_none()
    if known is None:
        return False
    known.online = online
    known.presence_at = since
    if online:
        known.last_seen_at = now
    tx.session.flush()
    return True


def sensors_by_name(tx: Tx, *, names: Collection[str]) -> dict[str, KnownSensor]:
    """Return the registered ones of these sensors by SenML name."""
    select = "SELECT id, name, quantity, gateway_id FROM sensor"
    rows = rows_keyed(tx, select=select, column="name", kind="text", keys=names)
    return {row[1]: KnownSensor(*row) for row in rows}


def mounts_of(tx: Tx, *, sensor_ids: Collection[int]) -> list[Hanging]:
    """Return every mount of these sensors."""
    connection = tx.session.connection()
    rows = connection.execute(
        select_columns(
            col(Mount.sensor_id),
            col(Mount.place_id),
            col(Mount.drum_id),
            col(Mount.since),
            col(Mount.until),
        ).where(keyed(connection, col(Mount.sensor_id), sensor_ids))
    )
    return [Hanging(*row) for row in rows]
