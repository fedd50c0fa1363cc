"""Drums, sensors and gateways as the alarm rules look at them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from sqlalchemy import func
from sqlalchemy import select as select_rows
from sqlmodel import col, select

from drumkeep.storage.bulk import keyed
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.catalogue import Gateway, Lot, Mount, Place, Product, Sensor, Site
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import Tx

_ESTIMATED: Final = (
    "step",
    "state",
    "basis",
    "bottom_low_c",
    "mean_c",
    "pressure_kpa",
    "readiness",
    "outlook",
    "dew_margin_k",
    "humidity",
    "humidity_assumed",
    "fault",
)
"""What is read of an estimate, in the order of :class:`PresentDrum`."""


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


@dataclass(frozen=True, slots=True)
class PresentDrum:
    """What alarms look at of a present drum that is computed; ``state`` is its record."""

    tag: str
    wanted_at: datetime | None
    lot: str
    product: Product
    place: Place
    site_code: str
    step: int
    state: bytes
    basis: str | None
    bottom_low_c: float | None
    mean_c: float | None
    pressure_kpa: float | None
    readiness: str
    outlook: dict[str, Any]
    dew_margin_k: float | None
    humidity: float | None
    humidity_assumed: bool | None
    fault: str | None


def present_drums(tx: Tx, *, sites: Sites = None) -> list[PresentDrum]:
    """Return the present drums of sites that are computed.

    Without their verdicts: these are most of what is stored of a drum.
    """
    statement = (
        select_rows(
            col(Drum.tag),
            col(Drum.wanted_at),
            col(Lot.code),
            Product,
            Place,
            col(Site.code),
            *(col(getattr(Estimate, name)) for name in _ESTIMATED),
        )
        .join(Lot, col(Drum.lot_id) == col(Lot.id))
        .join(Product, col(Lot.product_id) == col(Product.id))
        .join(Place, col(Drum.place_id) == col(Place.id))
        .join(Site, col(Place.site_id) == col(Site.id))
        .join(Estimate, col(Estimate.drum_id) == col(Drum.id))
        .where(col(Drum.ended).is_(None))
        .order_by(col(Drum.id))
    )
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Place.site_id), sites))
    return [PresentDrum(*row) for row in tx.session.execute(statement)]


def mounted_sensors(tx: Tx, *, sites: Sites = None) -> list[MountedSensor]:
    """Return the sensors of sites that are mounted somewhere, with no end set."""
    statement = (
        select_rows(
            col(Sensor.id),
            col(Sensor.name),
            col(Sensor.interval_s),
            col(Gateway.code),
            col(Mount.place_id),
            col(Place.name),
            col(Place.site_id),
            col(Drum.tag),
            col(Mount.what),
            col(Mount.since),
        )
        .join(Mount, col(Mount.sensor_id) == col(Sensor.id))
        .join(Drum, col(Mount.drum_id) == col(Drum.id), isouter=True)
        .join(Place, func.coalesce(col(Mount.place_id), col(Drum.place_id)) == col(Place.id))
        .join(Gateway, col(Sensor.gateway_id) == col(Gateway.id), isouter=True)
        .where(col(Mount.until).is_(None))
        .order_by(col(Sensor.id))
    )
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Place.site_id), sites))
    return [
        replace(one, place_name=None) if one.place_id is None else one
        for one in (MountedSensor(*row) for row in tx.session.execute(statement))
    ]


def gateways(tx: Tx, *, sites: Sites = None) -> Sequence[Gateway]:
    """Return the gateways of sites."""
    statement = select(Gateway).order_by(col(Gateway.id))
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Gateway.site_id), sites))
    return tx.session.exec(statement).all()
