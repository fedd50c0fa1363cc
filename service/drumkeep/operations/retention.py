"""Which old readings may be thinned: those on which nothing that is still open rests.

The rule, whole. Left as they are stay

* all readings of a site while an alarm of it is open;
* readings of a site since thirty days before a drum came to it (``LOOK_BACK``), as long as the drum

  - is there, in a shed, on hold or on a vehicle, or was poured into one that is kept;
  - was on a vehicle within half a year (``LOADS``): somebody may still ask what the load went
    through;
  - ended within a year (``CLAIMS``) and a claim may rest on it: it or another drum of its lot bears
    the lasting mark of cold, solids were seen in it, or somebody had put it on hold;
  - is in a claim that is not settled, or was within a year;

* all readings of straps on such drums.

Half a year and a year: common practice, no source.

Of photos that are older than a year (``CLAIMS``) only a small one is kept, but for those of drums
that are there or are kept for one of the reasons above, and those that a claim rests on, settled or
not: these stay whole.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from math import inf
from typing import Final

from drumkeep.domain.claims import ClaimState
from drumkeep.domain.grid import to_ms
from drumkeep.storage import alarms, claims, drums, ground, photos, retention
from drumkeep.storage.readings import hour_of
from drumkeep.storage.transaction import Tx

LOOK_BACK: Final = timedelta(days=30)
"""Before a drum came: what its start, the doubt in sensors and the habits of the air rest on."""

LOADS: Final = timedelta(days=182)
CLAIMS: Final = timedelta(days=365)

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
    """Return what may be thinned, by the rule above."""
    latest = hour_of(to_ms(now - timedelta(days=raw_days)))
    of_site: dict[int, float] = {alarm.site_id: -inf for alarm in alarms.open_alarms(tx)}
    kept = sorted(_with_donors(tx, {*drums.present_ids(tx), *_rested_on(tx, now=now)}))
    place_site = {place.id: place.site_id for place in ground.places(tx)}
    for stay in drums.stays_of(tx, drum_ids=kept):
        site = place_site[stay.place_id]
        since = hour_of(to_ms(stay.since - LOOK_BACK))
        of_site[site] = min(since, of_site.get(site, latest))
    by_sensor: dict[int, float] = {}
    for mount in ground.place_mounts(tx):
        if mount.place_id is None:
            continue
        bound = of_site.get(place_site[mount.place_id], latest)
        by_sensor[mount.sensor_id] = min(bound, by_sensor.get(mount.sensor_id, latest))
    for mount in ground.drum_mounts(tx, drum_ids=kept):
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


def thin_photos(tx: Tx, *, now: datetime) -> int:
    """Keep only the small one of old photos on which nothing rests; return of how many."""
    return photos.thin(tx, before=now - CLAIMS, kept=_rested_on(tx, now=now))


def _rested_on(tx: Tx, *, now: datetime) -> set[int]:
    """Return the drums, beside those that are there, on which something still open rests."""
    return {
        *retention.loaded_since(tx, since=now - LOADS),
        *retention.claimable_since(tx, since=now - CLAIMS),
        *claims.drums_rested_on(tx, settled=ClaimState.SETTLED, since=now - CLAIMS),
    }


def _with_donors(tx: Tx, drum_ids: Iterable[int]) -> set[int]:
    """Add the drums that were poured into these, and into those, and so on."""
    found = set(drum_ids)
    fresh = found
    while fresh:
        poured = drums.pours_into(tx, drum_ids=sorted(fresh))
        fresh = {pour.donor_id for pour in poured} - found
        found |= fresh
    return found
