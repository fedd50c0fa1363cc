"""Places as the liquid feels them, from what is stored: air on the grid, films, warm rooms."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
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
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sun import DEFAULT_ABSORPTANCE, Sun, clear_sky, measured_sky, no_sun
from drumkeep.operations.air_clues import read_clues
from drumkeep.operations.ground import Ground
from drumkeep.operations.hung import calibrated
from drumkeep.operations.mounted_series import read_series, read_together, span_air, week_extremes
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

_ASKED_TOGETHER_MS: Final = 3_600_000

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
    heats = {}
    ids = list(place_ids)
    heard = _hear(tx, ground, ids, first=first, last=last)
    clues = read_clues(tx, places=ground.places, place_ids=ids)
    for place_id in ids:
        place = ground.places[place_id]
        air = _nearest_air(heard, place_id)
        sun, sky = _sun(heard, place)
        heats[place_id] = PlaceHeat(
            air=air,
            setting=_setting(place),
            sun=sun,
            sky=sky,
            absorptance=DEFAULT_ABSORPTANCE if place.absorptance is None else place.absorptance,
            film=ground.films.get(place_id, ()),
            site_kpa=site_pressure_kpa(ground.sites[place.site_id].altitude_m),
            humidity=_humidity(tx, ground, place_id, last=last),
            floor=_floor(heard, place, air=air),
            clues=clues[place_id],
        )
    return heats


@dataclass(frozen=True)
class _Heard:
    """What hangs in places and is read for them, over grid steps ``first`` … ``last``.

    ``series`` is what was read of all of it together, by mount; ``told`` keeps what the sensors of
    each place tell, for the other places that ask.
    """

    tx: Tx
    ground: Ground
    series: Mapping[int, SensorSeries]
    first: int
    last: int
    told: dict[int, PlaceAir] = field(default_factory=dict)

    def air(self, mounts: Sequence[Mount], *, kind: PlaceKind) -> PlaceAir:
        """Return what the sensors of one spot tell."""
        ground, hung = self.ground, self.ground.hung(mounts)
        series = read_series(
            self.tx,
            hung=hung,
            elsewhere=lambda: ground.elsewhere(mounts),
            from_ms=self.first * STEP_MS,
            to_ms=self.last * STEP_MS + _AFTER_MS,
            told=self.series,
        )
        return place_air(
            series,
            kind=kind,
            first=self.first,
            last=self.last,
            extremes=week_extremes(self.tx, hung=hung),
        )

    def hanging(self, mounts: Sequence[Mount]) -> Flags:
        """Tell at which grid steps some sensor hangs there, whether it is heard of or not."""
        times = np.arange(self.first, self.last + 1, dtype=np.int64) * STEP_MS
        found = np.zeros(len(times), dtype=np.bool_)
        for one in self.ground.hung(mounts):
            found |= one.during(times)
        return found


def _hear(tx: Tx, ground: Ground, place_ids: Sequence[int], *, first: int, last: int) -> _Heard:
    """Read together what may tell of places: their sensors, and those round them."""
    around = {here for place_id in place_ids for here in ground.enclosing(place_id)}
    mounts = [
        mount
        for by_place in (ground.air_mounts, ground.floor_mounts, ground.sun_mounts)
        for here in around
        for mount in by_place.get(here, ())
    ]
    series = read_together(
        tx,
        hung=ground.hung(mounts),
        from_ms=first * STEP_MS,
        to_ms=last * STEP_MS + _AFTER_MS,
    )
    return _Heard(tx, ground, series, first=first, last=last)


def _setting(place: Place) -> Setting:
    """Return a place in the words of physics."""
    return Setting(
        motion=place.motion,
        standing=place.standing,
        share=SHARES[place.crowding],
        wind_m_s=place.wind_m_s,
    )


def _sun(told_by: _Heard, place: Place) -> tuple[Sun | None, Sun | None]:
    """Return the sun on a place's drums, and what of it may come again.

    As measured while a sensor is heard; while one hangs and is not, or its place is said to lie in
    the sun, it may be anything from none to a clear day's.
    """
    ground, first, last = told_by.ground, told_by.first, told_by.last
    count = last - first + 1
    hanging, heard = np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.bool_)
    level = np.zeros(count)
    for mounts in ground.sun_over(place.id):
        here = told_by.hanging(mounts) & ~hanging
        if here.any():
            # Of the yard's kind wherever it hangs: the sun is bridged no longer than open air.
            told = told_by.air(mounts, kind=PlaceKind.YARD)
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


def swayed_by(tx: Tx, *, ground: Ground, from_ms: Mapping[int, int], to_ms: int) -> dict[int, int]:
    """Return the places of which new readings may tell, and from when on (epoch ms).

    Those where they were made and those inside; and where a sensor of the site stands still, what
    moves elsewhere tells whether it is stuck.

    Parameters
    ----------
    tx
        Any transaction.
    ground
        The sites of these places.
    from_ms
        From when on readings are new (epoch ms), by place id.
    to_ms
        The present, epoch ms.
    """
    told: dict[int, int] = {}
    by_site: dict[int, dict[int, int]] = defaultdict(dict)
    for place_id, since in from_ms.items():
        by_site[ground.places[place_id].site_id][place_id] = since
    first_of = {site: min(places.values()) for site, places in by_site.items()}
    mounts = {
        site: [
            mount
            for place in ground.of_site[site]
            for hung in (ground.air_mounts, ground.floor_mounts)
            for mount in hung.get(place.id, ())
        ]
        for site in by_site
    }
    still = _unchanging(tx, mounts=mounts, first_of=first_of, to_ms=to_ms)
    for site, places in by_site.items():
        first = first_of[site]
        doubtful = {m.place_id: first for m in mounts[site] if m.sensor_id in still and m.place_id}
        for place_id, since in (*doubtful.items(), *places.items()):
            for fed in ground.fed_by(place_id):
                told[fed] = min(since, told.get(fed, since))
    return told


def _unchanging(
    tx: Tx, *, mounts: Mapping[int, Sequence[Mount]], first_of: Mapping[int, int], to_ms: int
) -> set[int]:
    """Return the sensors of sites that may stand still; sites of like times are asked together."""
    together: dict[int, list[int]] = defaultdict(list)
    for site, first in first_of.items():
        together[(first - SOONEST_MS) // _ASKED_TOGETHER_MS].append(site)
    found: set[int] = set()
    for hour, sites in together.items():
        found |= readings.unchanging(
            tx,
            sensor_ids=[mount.sensor_id for site in sites for mount in mounts[site]],
            from_ms=hour * _ASKED_TOGETHER_MS,
            to_ms=to_ms,
        )
    return found


def _nearest_air(heard: _Heard, place_id: int) -> PlaceAir:
    """Return the air of a place: at each step as the sensors nearest round it tell."""
    ground, told = heard.ground, heard.told
    found: PlaceAir | None = None
    own = np.zeros(heard.last - heard.first + 1, dtype=np.bool_)
    for here in ground.enclosing(place_id):
        mounts = ground.air_mounts.get(here, ())
        hanging = heard.hanging(mounts)
        if not hanging.any():
            continue
        if here not in told:
            kind = PlaceKind(ground.places[here].kind)
            told[here] = heard.air(mounts, kind=kind)
        found = told[here] if found is None else found.where(own, elsewhere=told[here])
        own |= hanging
        if own.all():
            break
    if found is not None:
        return found
    return place_air(
        (),
        kind=PlaceKind(ground.places[place_id].kind),
        first=heard.first,
        last=heard.last,
        extremes=lambda _ms: None,
    )


def _floor(heard: _Heard, place: Place, *, air: PlaceAir) -> PlaceAir | None:
    """Return the floor's temperature of a place; its air where and while none is measured."""
    mounts = heard.ground.floor_mounts.get(place.id, ())
    if not heard.hanging(mounts).any():
        return None
    floor = heard.air(mounts, kind=PlaceKind(place.kind))
    return floor.where(np.isfinite(floor.likely), elsewhere=air)


def _humidity(tx: Tx, ground: Ground, place_id: int, *, last: int) -> float | None:
    """Return the newest humidity (%) of a place or of the nearest it sits in, if it is fresh."""
    here: int | None = place_id
    while here is not None:
        mounts = [m for m in ground.humidity_mounts.get(here, ()) if m.until is None]
        newest = readings.newest(tx, sensor_ids=[m.sensor_id for m in mounts]) if mounts else {}
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
