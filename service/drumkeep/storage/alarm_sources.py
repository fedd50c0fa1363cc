"""Sensors and gateways as the alarm rules look at them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select as select_rows
from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Mount, Place, Sensor
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class MountedSensor:
    """A sensor that is mounted in a place now."""

    sensor_id: int
    name: str
    interval_s: float
    gateway: str | None
    place_id: int
    place_name: str
    site_id: int
    what: str
    hung_at: datetime


def mounted_sensors(tx: Tx) -> list[MountedSensor]:
    """Return the sensors that are mounted in places, with no end set."""
    statement = (
        select_rows(Sensor, Mount, Place, Gateway)
        .join(Mount, col(Mount.sensor_id) == col(Sensor.id))
        .join(Place, col(Mount.place_id) == col(Place.id))
        .join(Gateway, col(Sensor.gateway_id) == col(Gateway.id), isouter=True)
        .where(col(Mount.until).is_(None))
        .order_by(col(Sensor.id))
    )
    return [
        MountedSensor(
            sensor_id=sensor.id,
            name=sensor.name,
            interval_s=sensor.interval_s,
            gateway=gateway.code if gateway is not None else None,
            place_id=place.id,
            place_name=place.name,
            site_id=place.site_id,
            what=mount.what,
            hung_at=mount.since,
        )
        for sensor, mount, place, gateway in tx.session.execute(statement)
    ]


def all_gateways(tx: Tx) -> Sequence[Gateway]:
    """Return every gateway."""
    return tx.session.exec(select(Gateway).order_by(col(Gateway.id))).all()
