"""Sensors that are not registered, as the page of sensors shows them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.devices import said as device_said
from drumkeep.domain.doubt_words import said as value_said
from drumkeep.domain.grid import from_ms
from drumkeep.domain.sensors import MEASURED, OF_A_DEVICE, Quantity, What
from drumkeep.storage import arrivals, catalogue, strays
from drumkeep.storage.tables.strays import Stray
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.views.sensors import MEASURES
from drumkeep.web.views.sentences import said

_PLACES: Final = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class StrayView:
    """One name that was heard; ``may_be`` is what it may measure, as (value, words).

    It is empty where a device speaks of itself. ``registered`` is the gateway that a registered
    sensor should have been heard by.
    """

    id: int
    name: str
    gateway: str | None
    registered: str | None
    kept: int
    first_at: datetime
    last_at: datetime
    last: str
    may_be: tuple[tuple[str, str], ...]


def stray_views(tx: Tx, rows: Sequence[Stray], *, formats: Formats) -> tuple[StrayView, ...]:
    """Return strays as far as something is kept of them, in their order."""
    series = strays.series_of(tx, stray_ids=[row.id for row in rows])
    elsewhere = arrivals.sensors_by_name(tx, names=[row.name for row in rows])
    connected = {name: sensor.gateway_id for name, sensor in elsewhere.items()}
    gateways = catalogue.gateway_references(
        tx, ids=[*connected.values(), *(row.gateway_id for row in rows)]
    )
    views = []
    for row in rows:
        kept = series.get(row.id)
        if kept is None:
            continue
        may_be = [what for what, quantity in MEASURED.items() if quantity == row.quantity]
        views.append(
            StrayView(
                id=row.id,
                name=row.name,
                gateway=gateways.get(row.gateway_id or 0),
                registered=gateways.get(connected.get(row.name) or 0),
                kept=kept.kept,
                first_at=from_ms(kept.first_ms),
                last_at=from_ms(kept.last_ms),
                last=reading_words(kept.last_value, Quantity(row.quantity), formats=formats),
                may_be=tuple((what.value, MEASURES[What(what)]) for what in may_be),
            )
        )
    return tuple(views)


def reading_words(value: float, quantity: Quantity, *, formats: Formats) -> str:
    """Write a reading of whatever quantity in the viewer's units."""
    if quantity in OF_A_DEVICE:
        return device_said(value, quantity=quantity)
    what = next(what for what, measured in MEASURED.items() if measured == quantity)
    return said(value_said(value, what=what), formats)


def places_to_hang(tx: Tx) -> list[tuple[str, str]]:
    """Return every place as (site/code, name with its site)."""
    rows = catalogue.list_places(tx, limit=_PLACES)
    sites = catalogue.sites_by_id(tx, ids=[row.site_id for row in rows])
    named = [
        (f"{sites[row.site_id].code}/{row.code}", f"{row.name}, {sites[row.site_id].name}")
        for row in rows
    ]
    return sorted(named, key=lambda one: one[1])
