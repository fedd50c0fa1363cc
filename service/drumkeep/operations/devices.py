"""Batteries and signals: what they last said, and whose they are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.devices import bearer
from drumkeep.domain.grid import from_ms
from drumkeep.domain.sensors import OF_A_DEVICE, Quantity
from drumkeep.storage import alarm_sources, devices
from drumkeep.storage.alarm_sources import MountedSensor
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.catalogue import Gateway, Sensor
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceSaying:
    """One thing that a gateway or sensor said of itself.

    Attributes
    ----------
    sensor_id, name, quantity
        Under which it is stored.
    value, at
        The last of it, in the unit of its quantity.
    gateway
        Through which it came; None if that is not on record.
    of_gateway
        Whether it is the gateway's own.
    beside
        The sensors of the same device that hang somewhere.
    """

    sensor_id: int
    name: str
    quantity: Quantity
    value: float
    at: datetime
    gateway: Gateway | None
    of_gateway: bool
    beside: tuple[MountedSensor, ...]

    @property
    def bearer(self) -> str:
        """Name the device in words."""
        places = sorted({one.place_name or f"drum {one.drum}" for one in self.beside})
        if places:
            return f"the sensor of {' and '.join(places)}"
        if self.of_gateway and self.gateway is not None:
            return f"gateway {self.gateway.code}"
        return f"the device {bearer(self.name) or self.name}"


def device_sayings(
    tx: Tx, *, mounted: Sequence[MountedSensor] | None = None, sites: Sites = None
) -> list[DeviceSaying]:
    """Return what devices last said of themselves, in the order of registration.

    Parameters
    ----------
    mounted
        The sensors that hang at these sites, for who has them.
    sites
        Only what came through gateways of these.
    """
    rows = devices.last_said(tx, quantities=sorted(OF_A_DEVICE), sites=sites)
    if not rows:
        return []
    hung: dict[str, list[MountedSensor]] = defaultdict(list)
    for one in alarm_sources.mounted_sensors(tx) if mounted is None else mounted:
        hung[bearer(one.name)].append(one)
    return [
        DeviceSaying(
            sensor_id=sensor.id,
            name=sensor.name,
            quantity=Quantity(sensor.quantity),
            value=value,
            at=from_ms(ts),
            gateway=gateway,
            of_gateway=_of_gateway(sensor, gateway),
            # A sensor wired to the gateway is named after it, and its battery is the gateway's.
            beside=() if _of_gateway(sensor, gateway) else tuple(hung[bearer(sensor.name)]),
        )
        for sensor, gateway, ts, value in rows
    ]


def _of_gateway(sensor: Sensor, gateway: Gateway | None) -> bool:
    return gateway is not None and bearer(sensor.name) == gateway.urn
