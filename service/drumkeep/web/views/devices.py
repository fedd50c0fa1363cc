"""Batteries and signals as the pages show them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from drumkeep.domain.devices import is_low, said
from drumkeep.domain.grid import to_ms
from drumkeep.domain.sensors import Quantity
from drumkeep.operations.devices import DeviceSaying
from drumkeep.storage import catalogue, readings
from drumkeep.storage.transaction import Tx
from drumkeep.web.airline import Scale
from drumkeep.web.view_models import AirLine, Point, ShelfView

_LATELY: Final = timedelta(hours=24)

_NOUN: Final = {
    Quantity.BATTERY: "Battery",
    Quantity.VOLTAGE: "Voltage",
    Quantity.SIGNAL: "Signal",
}
_LOW: Final = {Quantity.BATTERY: "low", Quantity.SIGNAL: "weak"}
_LEAST_SPAN: Final = {Quantity.BATTERY: 10.0, Quantity.VOLTAGE: 0.5, Quantity.SIGNAL: 10.0}
"""What a line spans at least, so that its last digit does not look like a fall."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceView:
    """One thing that a device says of itself; ``low`` is in a word what is wrong with it.

    ``timezone`` is that of its gateway's site.
    """

    name: str
    noun: str
    bearer: str
    last: str
    low: str | None
    last_at: datetime
    timezone: str
    line: ShelfView | None
    scale: Scale


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceViews:
    """All of them: those that need somebody first; by gateway id; by name of a sensor beside."""

    every: tuple[DeviceView, ...]
    of_gateway: Mapping[int, Sequence[DeviceView]]
    beside: Mapping[str, Sequence[DeviceView]]


def device_views(
    tx: Tx, sayings: Sequence[DeviceSaying], *, beside: Sequence[DeviceSaying] = (), now: datetime
) -> DeviceViews:
    """Return what gateways and sensors say of themselves.

    Parameters
    ----------
    tx
        Any transaction.
    sayings
        Those told singly, with the line of their last day.
    beside
        Those told beside the sensors of the same device, without a line.
    now
        The present, UTC.
    """
    series = readings.series(
        tx,
        sensor_ids=[one.sensor_id for one in sayings],
        from_ms=to_ms(now - _LATELY),
        to_ms=to_ms(now),
    )
    sites = catalogue.sites_by_id(
        tx, ids=[one.gateway.site_id for one in (*sayings, *beside) if one.gateway is not None]
    )

    def view(one: DeviceSaying, past: Iterable[Point] = ()) -> DeviceView:
        zone = "UTC" if one.gateway is None else sites[one.gateway.site_id].timezone
        return _view(one, past, zone=zone)

    every: list[DeviceView] = []
    of_gateway: dict[int, list[DeviceView]] = defaultdict(list)
    for one in sayings:
        times, values = series[one.sensor_id]
        every.append(view(one, zip(times.tolist(), values.tolist(), strict=True)))
        if one.of_gateway and one.gateway is not None:
            of_gateway[one.gateway.id].append(every[-1])
    near: dict[str, list[DeviceView]] = defaultdict(list)
    for one in beside:
        for sensor in one.beside:
            near[sensor.name].append(view(one))
    every.sort(key=lambda view: (view.low is None, view.bearer, view.noun))
    return DeviceViews(every=tuple(every), of_gateway=of_gateway, beside=near)


def _view(one: DeviceSaying, said_lately: Iterable[Point], *, zone: str) -> DeviceView:
    past = tuple(said_lately)
    return DeviceView(
        name=one.name,
        noun=_NOUN[one.quantity],
        bearer=one.bearer,
        last=said(one.value, quantity=one.quantity),
        low=_LOW[one.quantity] if is_low(one.quantity, one.value) else None,
        last_at=one.at,
        timezone=zone,
        line=_line(one, past) if past else None,
        scale=Scale(partial(said, quantity=one.quantity), _LEAST_SPAN[one.quantity]),
    )


def _line(one: DeviceSaying, past: Sequence[Point]) -> ShelfView:
    return ShelfView(
        place=one.bearer,
        code=one.name,
        kind="",
        kind_words="",
        site="",
        air_line=AirLine(past=past),
    )
