"""What ingest must know of the catalogue: who sends, which sensors are known, where they hang."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeVar

from sqlalchemy import update
from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Mount, Sensor, Site
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 1000
_Item = TypeVar("_Item")


@dataclass(frozen=True, slots=True)
class KnownSensor:
    """A registered sensor."""

    id: int
    name: str
    quantity: str


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
    statement = select(Site.code, Gateway.code, Gateway.id).join(Site)
    return {
        (site, code): gateway_id
        for some in _portions(sorted(sites))
        for site, code, gateway_id in tx.session.exec(statement.where(col(Site.code).in_(some)))
    }


def note_heard(tx: Tx, *, gateway_ids: Collection[int], now: datetime) -> None:
    """Note that these gateways sent something."""
    for some in _portions(sorted(gateway_ids)):
        tx.session.exec(update(Gateway).where(col(Gateway.id).in_(some)).values(last_seen_at=now))


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
    statement = select(Sensor.id, Sensor.name, Sensor.quantity)
    return {
        name: KnownSensor(sensor_id, name, quantity)
        for some in _portions(sorted(names))
        for sensor_id, name, quantity in tx.session.exec(
            statement.where(col(Sensor.name).in_(some))
        )
    }


def mounts_of(tx: Tx, *, sensor_ids: Collection[int]) -> list[Hanging]:
    """Return every mount of these sensors."""
    statement = select(Mount)
    return [
        Hanging(m.sensor_id, m.place_id, m.drum_id, m.since, m.until)
        for some in _portions(sorted(sensor_ids))
        for m in tx.session.exec(statement.where(col(Mount.sensor_id).in_(some)))
    ]


def _portions(items: Sequence[_Item]) -> Iterator[Sequence[_Item]]:
    for start in range(0, len(items), _AT_ONCE):
        yield items[start : start + _AT_ONCE]
