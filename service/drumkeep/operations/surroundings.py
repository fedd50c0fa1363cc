"""Places as the liquid feels them, from what is stored: air on the grid, films, warm rooms."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import PlaceAir, place_air
from drumkeep.domain.constancy import SOONEST_MS
from drumkeep.domain.grid import STEP_MS, STEPS_PER_HOUR, from_ms, to_ms
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sun import DEFAULT_ABSORPTANCE, Sun, clear_sky, measured_sky, no_sun
from drumkeep.operations.air_clues import read_clues
from drumkeep.operations.ground import Ground
from drumkeep.operations.mounted_series import (
    calibrated,
    read_series,
    span_air,
    week_extremes,
)
from drumkeep.storage import readings
from drumkeep.storage.tables.catalogue import Mount, Place, Site
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import SHARES, Setting
from drumkeep.thermal.headspace import site_pressure_kpa

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]

_AFTER_MS: Final = 2 * 3_600_000
"""Readings so long after the last step are read too: the line to them crosses it. A gateway's clock
may be ahead of ours, and a past that ends long ago has readings after its end."""

HUMIDITY_FRESH_MS: Final = 2 * 3_600_000


def read_places(
    tx: Tx, *, ground: Ground, place_ids: Iterable[int], first: int, last: int
) -> dict[int, PlaceHeat]:
    """Return places as the liquid feels them over grid steps ``first`` … ``last``.

    Parameters
    ----------
    tx
        Where readings are read.
    ground
        The catalogue of places.
    place_ids
        Which places; those that take their air from another are given its readings.
    first, last
        Grid steps, inclusive.
    """
    told: dict[int, PlaceAir] = {}
    heats = {}
    ids = list(place_ids)
    clues = read_clues(tx, places=ground.places, place_ids=ids)
    for place_id in ids:
        place = ground.places[place_id]
        air = _nearest_air(tx, ground, place_id, told=told, first=first, last=last)
        sun, sky = _sun(tx, ground, place, air=air)
        heats[place_id] = PlaceHeat(
            air=air,
            setting=_setting(place),
            sun=sun,
            sky=sky,
            absorptance=DEFAULT_ABSORPTANCE if place.absorptance is None else place.absorptance,
            film=ground.films.get(place_id, ()),
            site_kpa=site_pressure_kpa(ground.sites[place.site_id].altitude_m),
            humidity=_humidity(tx, ground, place_id, last=last),
            floor=_floor(tx, ground, place, air=air, last=last),
            clues=clues[place_id],
        )
    return heats


def _setting(place: Place) -> Setting:
    """Return a place in the words of physics."""
    return Setting(
        motion=place.motion,
        standing=place.standing,
        share=SHARES[place.crowding],
        wind_m_s=place.wind_m_s,
    )


def _sun(tx: Tx, ground: Ground, place: Place, *, air: PlaceAir) -> tuple[Sun | None, Sun | None]:
    """Return the sun on a place's drums over the steps of its air, and what of it may come again.

    As measured while a sensor is heard; while one hangs and is not, or its place is said to lie in
    the sun, it may be anything from none to a clear day's.
    """
    first, last = air.first, air.first + len(air.likely) - 1
    count = last - first + 1
    hanging, heard = np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.bool_)
    level = np.zeros(count)
    for mounts in ground.sun_over(place.id):
        here = _hanging(mounts, first=first, last=last) & ~hanging
        if here.any():
            # Of the yard's kind wherever it hangs: the sun is bridged no longer than open air.
            told = _air(tx, ground, mounts, kind=PlaceKind.YARD, first=first, last=last)
            here_heard = here & told.supported
            level = np.where(here_heard, told.likely, level)
            heard, hanging = heard | here_heard, hanging | here
    lit = hanging | place.sun
    if not lit.any():
        return None, None
    ahead = _ahead_of_utc_s(ground.sites[place.site_id], first=first, last=last)
    sky = clear_sky(first, last, ahead_of_utc_s=ahead)
    if not hanging.any():
        return sky, None
    measured = measured_sky(first, last, ahead_of_utc_s=ahead, level_w_m2=level)
    dark = no_sun(count)
    sun = measured.where(heard, elsewhere=sky.where(lit, elsewhere=dark))
    return sun, sky if lit[-1] else dark


def _ahead_of_utc_s(site: Site, *, first: int, last: int) -> Floats:
    """Return what the clock of a site is ahead of UTC at grid steps, s."""
    hours = np.arange(first // STEPS_PER_HOUR, last // STEPS_PER_HOUR + 1)
    zone = ZoneInfo(site.timezone)
    ahead = np.array([_ahead_s(zone, int(hour)) for hour in hours], dtype=np.float64)
    steps = np.arange(first, last + 1) // STEPS_PER_HOUR - hours[0]
    return np.asarray(ahead[steps], dtype=np.float64)


def _ahead_s(zone: ZoneInfo, hour: int) -> float:
    offset = datetime.fromtimestamp(hour * 3600, tz=zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def swayed_by(tx: Tx, *, ground: Ground, place_id: int, from_ms: int, to_ms: int) -> list[int]:
    """Return the places of which the readings of one place in a span may tell.

    Its own and those inside; and where a sensor of the site stands still, what moves elsewhere
    tells whether it is stuck.
    """
    site = ground.places[place_id].site_id
    others = [
        mount
        for hung in (ground.air_mounts, ground.floor_mounts)
        for place, mounts in hung.items()
        if place != place_id and ground.places[place].site_id == site
        for mount in mounts
    ]
    still = readings.unchanging(
        tx,
        sensor_ids=[mount.sensor_id for mount in others],
        from_ms=from_ms - SOONEST_MS,
        to_ms=to_ms,
    )
    told = {place_id} | {m.place_id for m in others if m.sensor_id in still and m.place_id}
    return sorted({fed for place in told for fed in ground.fed_by(place)})


def _nearest_air(
    tx: Tx, ground: Ground, place_id: int, *, told: dict[int, PlaceAir], first: int, last: int
) -> PlaceAir:
    """Return the air of a place: at each step as the sensors nearest round it tell.

    ``told`` keeps what the sensors of each place tell, for the other places that ask.
    """
    found: PlaceAir | None = None
    own = np.zeros(last - first + 1, dtype=np.bool_)
    for here in ground.enclosing(place_id):
        mounts = ground.air_mounts.get(here, ())
        hanging = _hanging(mounts, first=first, last=last)
        if not hanging.any():
            continue
        if here not in told:
            kind = PlaceKind(ground.places[here].kind)
            told[here] = _air(tx, ground, mounts, kind=kind, first=first, last=last)
        found = told[here] if found is None else found.where(own, elsewhere=told[here])
        own |= hanging
        if own.all():
            break
    if found is not None:
        return found
    return place_air(
        (),
        kind=PlaceKind(ground.places[place_id].kind),
        first=first,
        last=last,
        extremes=lambda _ms: None,
    )


def _floor(tx: Tx, ground: Ground, place: Place, *, air: PlaceAir, last: int) -> PlaceAir | None:
    """Return the floor's temperature of a place; its air where and while none is measured."""
    mounts = ground.floor_mounts.get(place.id, ())
    if not _hanging(mounts, first=air.first, last=last).any():
        return None
    floor = _air(tx, ground, mounts, kind=PlaceKind(place.kind), first=air.first, last=last)
    return floor.where(np.isfinite(floor.likely), elsewhere=air)


def _hanging(mounts: Sequence[Mount], *, first: int, last: int) -> Flags:
    """Tell at which grid steps some sensor hangs there, whether it is heard of or not."""
    times = np.arange(first, last + 1, dtype=np.int64) * STEP_MS
    found = np.zeros(len(times), dtype=np.bool_)
    for mount in mounts:
        here = times >= to_ms(mount.since)
        if mount.until is not None:
            here &= times < to_ms(mount.until)
        found |= here
    return found


def _air(
    tx: Tx,
    ground: Ground,
    mounts: Sequence[Mount],
    *,
    kind: PlaceKind,
    first: int,
    last: int,
) -> PlaceAir:
    hung = ground.hung(mounts)
    series = read_series(
        tx,
        hung=hung,
        elsewhere=lambda: ground.elsewhere(mounts),
        from_ms=first * STEP_MS,
        to_ms=last * STEP_MS + _AFTER_MS,
    )
    return place_air(
        series, kind=kind, first=first, last=last, extremes=week_extremes(tx, hung=hung)
    )


def _humidity(tx: Tx, ground: Ground, place_id: int, *, last: int) -> float | None:
    """Return the newest humidity (%) of a place or of the nearest it sits in, if it is fresh."""
    here: int | None = place_id
    while here is not None:
        mounts = [m for m in ground.humidity_mounts.get(here, ()) if m.until is None]
        newest = readings.newest(tx, sensor_ids=[m.sensor_id for m in mounts])
        fresh = [
            float(
                calibrated(
                    np.array([found.ts_ms], dtype=np.int64),
                    np.array([found.value]),
                    calibrations=ground.calibrations.get(sensor_id, ()),
                )[0]
            )
            for sensor_id, found in newest.items()
            if last * STEP_MS - found.ts_ms <= HUMIDITY_FRESH_MS
        ]
        if fresh:
            return float(np.clip(np.median(fresh), 0.0, 100.0))
        here = ground.places[here].inside_id
    return None


def start_air(
    tx: Tx, *, ground: Ground, place_id: int, at: datetime, hours: int
) -> tuple[float, float, float] | None:
    """Return lowest, mean and highest air (°C) of a place over the hours before a time.

    The mean is over time, by straight lines between the readings.
    """
    end = to_ms(at)
    start = end - hours * 3_600_000
    for here in ground.enclosing(place_id):
        mounts = ground.air_mounts.get(here, ())
        found = span_air(tx, hung=ground.hung(mounts), from_ms=start, to_ms=end)
        if found is not None:
            return found
    return None


def supported_to(air: PlaceAir) -> datetime | None:
    """Return the last reading that a place's air rests on."""
    return None if air.supported_to_ms is None else from_ms(air.supported_to_ms)
