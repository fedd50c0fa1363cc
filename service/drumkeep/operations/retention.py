"""Which old readings may be thinned: those on which nothing that is still open rests."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from math import inf
from typing import Final

from drumkeep.domain.grid import to_ms
from drumkeep.storage import alarms, drums, ground, retention
from drumkeep.storage.readings import hour_of
from drumkeep.storage.transaction import Tx

LOOK_BACK: Final = timedelta(days=30)
"""Before a drum came: what its start, the doubt in sensors and the habits of the air rest on."""

HOURS_AT_ONCE: Final = 48
"""Of one run, so that it holds up no writer for long."""


@dataclass(frozen=True)
class Bounds:
    """Up to which hour, not included, readings may be thinned; by sensor where it is earlier."""

    hour: int
    by_sensor: dict[int, float]

    def allow(self, sensor_id: int, *, hour: int) -> bool:
        """Tell whether a sensor's readings of an hour may be thinned."""
        return hour < self.by_sensor.get(sensor_id, self.hour)


def bounds(tx: Tx, *, raw_days: int, now: datetime) -> Bounds:
    """Return what may be thinned.

    Of a site with an open alarm nothing is, and nothing since thirty days before a drum that is
    still there, or one that was poured into it, came to the site. Straps of such drums are left
    alone.
    """
    latest = hour_of(to_ms(now - timedelta(days=raw_days)))
    of_site: dict[int, float] = {alarm.site_id: -inf for alarm in alarms.open_alarms(tx)}
    alive = _with_donors(tx, drums.present_ids(tx))
    place_site = {place.id: place.site_id for place in ground.all_places(tx)}
    for stay in drums.stays_of(tx, drum_ids=sorted(alive)):
        site = place_site[stay.place_id]
        since = hour_of(to_ms(stay.since - LOOK_BACK))
        of_site[site] = min(since, of_site.get(site, latest))
    by_sensor: dict[int, float] = {}
    for mount in ground.place_mounts(tx):
        if mount.place_id is None:
            continue
        bound = of_site.get(place_site[mount.place_id], latest)
        by_sensor[mount.sensor_id] = min(bound, by_sensor.get(mount.sensor_id, latest))
    for mount in ground.drum_mounts(tx, drum_ids=sorted(alive)):
        by_sensor[mount.sensor_id] = -inf
    return Bounds(latest, by_sensor)


def thin_some(tx: Tx, *, allowed: Bounds, begin: int | None) -> int | None:
    """Thin some hours of readings.

    Parameters
    ----------
    allowed
        What may go.
    begin
        The hour to begin with; None for that of the oldest reading.

    Returns
    -------
    int or None
        The hour to go on with; None when all was looked at: what was held back this time is looked
        at again the next.
    """
    first = retention.first_hour(tx) if begin is None else begin
    if first is None:
        return None
    past = min(first + HOURS_AT_ONCE, allowed.hour)
    for hour in range(first, past):
        retention.thin(tx, hour=hour, may=partial(allowed.allow, hour=hour))
    return past if past < allowed.hour else None


def _with_donors(tx: Tx, drum_ids: Iterable[int]) -> set[int]:
    """Add the drums that were poured into these, and into those, and so on."""
    found = set(drum_ids)
    fresh = found
    while fresh:
        poured = drums.pours_into(tx, drum_ids=sorted(fresh))
        fresh = {pour.donor_id for pour in poured} - found
        found |= fresh
    return found
