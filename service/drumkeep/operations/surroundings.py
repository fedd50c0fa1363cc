"""Places as the liquid feels them, from what is stored: air on the grid, films, warm rooms."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import CLIMATOLOGY_DAYS, PlaceAir, place_air
from drumkeep.domain.grid import STEP_MS, from_ms, to_ms
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from drumkeep.operations.air_clues import read_clues
from drumkeep.storage import catalogue, readings
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Calibration, Mount, Place, Sensor, Site
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import exposure_of
from drumkeep.thermal.headspace import site_pressure_kpa

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]

_WEEK_MS: Final = CLIMATOLOGY_DAYS * 86_400_000

_AFTER_MS: Final = 2 * 3_600_000
"""Readings so long after the last step are read too: the line to them crosses it. A gateway's clock
may be ahead of ours, and a past that ends long ago has readings after its end."""

HUMIDITY_FRESH_MS: Final = 2 * 3_600_000


@dataclass(frozen=True)
class Ground:
    """The catalogue of places, read once for one computation."""

    places: Mapping[int, Place]
    sites: Mapping[int, Site]
    air_mounts: Mapping[int, Sequence[Mount]]
    floor_mounts: Mapping[int, Sequence[Mount]]
    humidity_mounts: Mapping[int, Sequence[Mount]]
    sensors: Mapping[int, Sensor]
    calibrations: Mapping[int, Sequence[Calibration]]

    def fed_by(self, place_id: int) -> list[int]:
        """Return the places whose air the sensors of this one may tell: itself and all inside."""
        return [p for p in self.places if place_id in self.enclosing(p)]

    def warm_room_for(self, place_id: int) -> Place | None:
        """Return the warm room nearest to a place: of the same building first, else of its site.

        A site's plan is not known; "nearest" is the warm room that shares the most enclosing
        places, and of those the first made.
        """
        place = self.places[place_id]
        rooms = [
            p
            for p in self.places.values()
            if p.site_id == place.site_id
            and p.kind == PlaceKind.WARM_ROOM
            and p.set_point_c is not None
        ]
        around = set(self.enclosing(place_id))
        rooms.sort(key=lambda p: (-len(around & set(self.enclosing(p.id))), p.id))
        return rooms[0] if rooms else None

    def enclosing(self, place_id: int) -> list[int]:
        """Return a place and those it sits in, from the inside out."""
        found: list[int] = []
        here: int | None = place_id
        while here is not None:
            found.append(here)
            here = self.places[here].inside_id
        return found


def read_ground(tx: Tx) -> Ground:
    """Read every place, with the sensors mounted in it.

    A company has hundreds of places and a supplier thousands: small beside its drums.
    """
    places = {p.id: p for p in ground_rows.all_places(tx)}
    sites = catalogue.sites_by_id(tx, ids=[p.site_id for p in places.values()])
    mounts = ground_rows.place_mounts(tx)
    hung: dict[What, dict[int, list[Mount]]] = {what: defaultdict(list) for what in What}
    for mount in mounts:
        if mount.place_id is not None:
            hung[What(mount.what)][mount.place_id].append(mount)
    sensor_ids = sorted({mount.sensor_id for mount in mounts})
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in catalogue.calibrations_of(tx, sensor_ids=sensor_ids):
        calibrations[calibration.sensor_id].append(calibration)
    return Ground(
        places=places,
        sites=sites,
        air_mounts=hung[What.AIR],
        floor_mounts=hung[What.FLOOR],
        humidity_mounts=hung[What.HUMIDITY],
        sensors=catalogue.sensors_by_id(tx, ids=sensor_ids),
        calibrations=calibrations,
    )


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
    for place_id in place_ids:
        place = ground.places[place_id]
        air = _nearest_air(tx, ground, place_id, told=told, first=first, last=last)
        heats[place_id] = PlaceHeat(
            air=air,
            films=exposure_of(motion=place.motion, standing=place.standing),
            site_kpa=site_pressure_kpa(ground.sites[place.site_id].altitude_m),
            humidity=_humidity(tx, ground, place_id, last=last),
            floor=_floor(tx, ground, place, air=air, last=last),
        )
    return heats


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
    from_ms_, to_ms_ = first * STEP_MS, last * STEP_MS + _AFTER_MS
    stored = _readings(tx, {m.sensor_id for m in mounts}, from_ms=from_ms_, to_ms=to_ms_)
    series = []
    for mount in mounts:
        times, values = stored[mount.sensor_id]
        inside = times >= to_ms(mount.since)
        if mount.until is not None:
            inside &= times < to_ms(mount.until)
        sensor = ground.sensors[mount.sensor_id]
        series.append(
            SensorSeries(
                ts_ms=times[inside],
                value_c=calibrated(
                    times[inside],
                    values[inside],
                    calibrations=ground.calibrations.get(mount.sensor_id, ()),
                ),
                interval_s=sensor.interval_s,
                error_k=sensor.error_k,
                until_ms=None if mount.until is None else to_ms(mount.until),
            )
        )
    return place_air(
        series, kind=kind, first=first, last=last, extremes=_extremes(tx, ground, mounts)
    )


def _readings(
    tx: Tx, sensor_ids: Iterable[int], *, from_ms: int, to_ms: int
) -> dict[int, tuple[Times, Floats]]:
    """Return readings in a span, with the one before it: it bridges into the span."""
    ids = sorted(sensor_ids)
    found = readings.series(tx, sensor_ids=ids, from_ms=from_ms, to_ms=to_ms)
    before = {
        sensor_id: ts
        for sensor_id in ids
        if (ts := readings.previous_ts(tx, sensor_id=sensor_id, ts_ms=from_ms)) is not None
    }
    values = readings.stored(tx, keys=before.items())
    for sensor_id, ts in before.items():
        times, numbers = found[sensor_id]
        found[sensor_id] = (
            np.concatenate([np.array([ts], dtype=np.int64), times]),
            np.concatenate([np.array([values[sensor_id, ts]]), numbers]),
        )
    return found


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


def _extremes(
    tx: Tx, ground: Ground, mounts: Sequence[Mount]
) -> Callable[[int], tuple[float, float] | None]:
    def week_up_to(moment_ms: int) -> tuple[float, float] | None:
        lows, highs = [], []
        for mount in mounts:
            until = moment_ms if mount.until is None else min(moment_ms, to_ms(mount.until) - 1)
            since = max(moment_ms - _WEEK_MS, to_ms(mount.since))
            if since > until:
                continue
            found = readings.extremes(
                tx, sensor_ids=[mount.sensor_id], from_ms=since, to_ms=until
            ).get(mount.sensor_id)
            if found is not None:
                pair = calibrated(
                    np.full(2, until, dtype=np.int64),
                    np.array(found),
                    calibrations=ground.calibrations.get(mount.sensor_id, ()),
                )
                lows.append(float(pair.min()))
                highs.append(float(pair.max()))
        return (min(lows), max(highs)) if lows else None

    return week_up_to


def calibrated(times: Times, values: Floats, *, calibrations: Sequence[Calibration]) -> Floats:
    """Return true values: gain × raw + offset of the calibration that held at each time."""
    true = values.astype(np.float64)
    for calibration in sorted(calibrations, key=lambda c: c.since):
        later = times >= to_ms(calibration.since)
        true = np.where(later, calibration.gain * values + calibration.offset, true)
    return true


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
        found = _span_air(tx, ground, mounts, start=start, end=end)
        if found is not None:
            return found
    return None


def _span_air(
    tx: Tx, ground: Ground, mounts: Sequence[Mount], *, start: int, end: int
) -> tuple[float, float, float] | None:
    lows, highs, means = [], [], []
    for mount in mounts:
        times, values = readings.series(tx, sensor_ids=[mount.sensor_id], from_ms=start, to_ms=end)[
            mount.sensor_id
        ]
        inside = times >= to_ms(mount.since)
        if mount.until is not None:
            inside &= times < to_ms(mount.until)
        times, values = times[inside], values[inside]
        if not len(times):
            continue
        true = calibrated(times, values, calibrations=ground.calibrations.get(mount.sensor_id, ()))
        lows.append(float(true.min()))
        highs.append(float(true.max()))
        span = float(times[-1] - times[0])
        area = float(np.trapezoid(true, times.astype(np.float64)))
        means.append(area / span if span else float(true[0]))
    if not means:
        return None
    return min(lows), float(np.median(means)), max(highs)


def supported_to(air: PlaceAir) -> datetime | None:
    """Return the last reading that a place's air rests on."""
    return None if air.supported_to_ms is None else from_ms(air.supported_to_ms)
