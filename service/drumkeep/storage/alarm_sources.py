"""Sensors and gateways as the alarm rules look at them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlalchemy import select as select_rows
from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Mount, Place, Sensor
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class MountedSensor:
    """A sensor that is mounted in a place now, or on a drum of a place of the site."""

    sensor_id: int
    name: str
    interval_s: float
    gateway: str | None
    place_id: int | None
    place_name: str | None
    site_id: int
    drum: str | None
    what: str
    hung_at: datetime


def mounted_sensors(tx: Tx) -> list[MountedSensor]:
    """Return the sensors that are mounted somewhere, with no end set."""
    statement = (
        select_rows(Sensor, Mount, Place, Drum, Gateway)
        .join(Mount, col(Mount.sensor_id) == col(Sensor.id))
        .join(Drum, col(Mount.drum_id) == col(Drum.id), isouter=True)
        .join(Place, func.coalesce(col(Mount.place_id), col(Drum.place_id)) == col(Place.id))
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
            place_id=mount.place_id,
            place_name=None if mount.place_id is None else place.name,
            site_id=place.site_id,
            drum=None if drum is None else drum.tag,
            what=mount.what,
            hung_at=mount.since,
        )
        for sensor, mount, place, drum, gateway in tx.session.execute(statement)
    ]


def all_gateways(tx: Tx) -> Sequence[Gateway]:
    """Return every gateway."""
    return tx.session.exec(select(Gateway).order_by(col(Gateway.id))).all()
