"""Places as the liquid feels them, from what is stored: air on the grid, films, warm rooms."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import CLIMATOLOGY_DAYS, PlaceAir, SensorSeries, place_air
from drumkeep.domain.grid import STEP_MS, from_ms, to_ms
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensors import What
from drumkeep.storage import catalogue, readings
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Calibration, Mount, Place, Sensor, Site
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import exposure_of
from drumkeep.thermal.headspace import site_pressure_kpa

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

_WEEK_MS: Final = CLIMATOLOGY_DAYS * 86_400_000

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

    def air_source(self, place_id: int) -> int:
        """Return the place whose sensors tell its air: itself, or the nearest it sits in."""
        here: int | None = place_id
        while here is not None:
            if self.air_mounts.get(here):
                return here
            here = self.places[here].inside_id
        return place_id

    def fed_by(self, place_id: int) -> list[int]:
        """Return the places whose air is told by the sensors of this one."""
        return [p for p in self.places if self.air_source(p) == place_id or p == place_id]

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
        around = set(self._enclosing(place_id))
        rooms.sort(key=lambda p: (-len(around & set(self._enclosing(p.id))), p.id))
        return rooms[0] if rooms else None

    def _enclosing(self, place_id: int) -> list[int]:
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
    air: dict[int, list[Mount]] = defaultdict(list)
    floor: dict[int, list[Mount]] = defaultdict(list)
    humid: dict[int, list[Mount]] = defaultdict(list)
    for mount in mounts:
        if mount.place_id is not None and mount.what == What.AIR:
            air[mount.place_id].append(mount)
        elif mount.place_id is not None and mount.what == What.FLOOR:
            floor[mount.place_id].append(mount)
    sensor_ids = sorted(
        {m.sensor_id for group in (air, floor) for ms in group.values() for m in ms}
    )
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in catalogue.calibrations_of(tx, sensor_ids=sensor_ids):
        calibrations[calibration.sensor_id].append(calibration)
    return Ground(
        places=places,
        sites=sites,
        air_mounts=air,
        floor_mounts=floor,
        humidity_mounts=humid,
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
    air_of: dict[tuple[int, str], PlaceAir] = {}
    heats = {}
    for place_id in place_ids:
        place = ground.places[place_id]
        source = ground.air_source(place_id)
        kind = PlaceKind(ground.places[source].kind)
        key = (source, kind.value)
        if key not in air_of:
            air_of[key] = _air(
                tx, ground, ground.air_mounts.get(source, ()), kind=kind, first=first, last=last
            )
        floor_mounts = ground.floor_mounts.get(place_id, ())
        heats[place_id] = PlaceHeat(
            air=air_of[key],
            films=exposure_of(motion=place.motion, standing=place.standing),
            site_kpa=site_pressure_kpa(ground.sites[place.site_id].altitude_m),
            humidity=_humidity(tx, ground, place_id, last=last),
            floor=_air(tx, ground, floor_mounts, kind=kind, first=first, last=last)
            if floor_mounts
            else None,
        )
    return heats


def air_of_place(tx: Tx, *, ground: Ground, place_id: int, first: int, last: int) -> PlaceAir:
    """Return one place's air on the grid."""
    return read_places(tx, ground=ground, place_ids=[place_id], first=first, last=last)[
        place_id
    ].air


def _air(
    tx: Tx,
    ground: Ground,
    mounts: Sequence[Mount],
    *,
    kind: PlaceKind,
    first: int,
    last: int,
) -> PlaceAir:
    from_ms_, to_ms_ = first * STEP_MS, (last + 1) * STEP_MS - 1
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
    source = ground.air_source(place_id)
    lows, highs, means = [], [], []
    for mount in ground.air_mounts.get(source, ()):
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
