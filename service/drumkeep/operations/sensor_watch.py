"""Sensors that hang somewhere now: what they said lately, and what they are doubted for."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.air import place_doubts
from drumkeep.domain.grid import STEP_MS, step_at, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Doubt
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.operations.ground import Ground
from drumkeep.operations.hung import Hung
from drumkeep.operations.mounted_series import read_series, read_together
from drumkeep.storage import catalogue
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Mount, Sensor
from drumkeep.storage.transaction import Tx

_SPOTS_AT_ONCE: Final = 200
"""Places of which the sensors are read together: bounds the memory."""


@dataclass(frozen=True)
class WatchedSensor:
    """A sensor where it hangs now.

    Attributes
    ----------
    sensor, mount
        What it is, and where it hangs.
    series
        Its readings of lately, and some before, calibrated.
    doubts
        What it is or was doubted for lately, oldest first.
    """

    sensor: Sensor
    mount: Mount
    series: SensorSeries
    doubts: tuple[Doubt, ...]


def watch_sensors(
    tx: Tx,
    *,
    ground: Ground,
    lately: timedelta,
    now: datetime,
    only: Collection[int] | None = None,
) -> list[WatchedSensor]:
    """Return the sensors that hang in places and on drums now, by sensor id.

    Parameters
    ----------
    tx
        Any transaction.
    ground
        The catalogue of places.
    lately
        How far back readings are given and doubts told.
    now
        The present, UTC.
    only
        Sensor ids; all if left out.
    """
    since, until = to_ms(now - lately), to_ms(now)
    found: list[WatchedSensor] = []
    spots = [
        mounts
        for by_place in (
            *(ground.air_mounts, ground.floor_mounts),
            *(ground.humidity_mounts, ground.sun_mounts),
        )
        for mounts in by_place.values()
        if any(_wanted(mount, only) for mount in mounts)
    ]
    for start in range(0, len(spots), _SPOTS_AT_ONCE):
        some = spots[start : start + _SPOTS_AT_ONCE]
        hung = ground.hung(mount for mounts in some for mount in mounts)
        told = read_together(tx, hung=hung, from_ms=since, to_ms=until)
        for mounts in some:
            found += _in_place(tx, ground, mounts, told=told, only=only, since=since, now=now)
    for one in _on_drums(tx, only=only):
        (series,) = read_series(tx, hung=[one], elsewhere=list, from_ms=since, to_ms=until)
        doubts = place_doubts([series], kind=one.kind, first=step_at(now), last=step_at(now))[0]
        found.append(WatchedSensor(one.sensor, one.mount, series, _lately(doubts, since=since)))
    return sorted(found, key=lambda w: w.sensor.id)


def _wanted(mount: Mount, only: Collection[int] | None) -> bool:
    return mount.until is None and (only is None or mount.sensor_id in only)


def _in_place(
    tx: Tx,
    ground: Ground,
    mounts: Sequence[Mount],
    *,
    told: Mapping[int, SensorSeries],
    only: Collection[int] | None,
    since: int,
    now: datetime,
) -> list[WatchedSensor]:
    hung = ground.hung(mounts)
    series = read_series(
        tx,
        hung=hung,
        elsewhere=lambda: ground.elsewhere(mounts),
        from_ms=since,
        to_ms=to_ms(now),
        told=told,
    )
    doubts = place_doubts(series, kind=hung[0].kind, first=since // STEP_MS, last=step_at(now))
    return [
        WatchedSensor(one.sensor, one.mount, said, _lately(some, since=since))
        for one, said, some in zip(hung, series, doubts, strict=True)
        if _wanted(one.mount, only)
    ]


def _on_drums(tx: Tx, *, only: Collection[int] | None) -> list[Hung]:
    mounts = [m for m in ground_rows.hanging_on_drums(tx) if _wanted(m, only)]
    ids = [mount.sensor_id for mount in mounts]
    sensors = catalogue.sensors_by_id(tx, ids=ids)
    calibrations = defaultdict(list)
    for calibration in catalogue.calibrations_of(tx, sensor_ids=ids):
        calibrations[calibration.sensor_id].append(calibration)
    return [
        Hung(
            mount=mount,
            sensor=sensors[mount.sensor_id],
            calibrations=calibrations[mount.sensor_id],
            # what a drum's skin or liquid can be, and how it moves, does not hang on the place
            kind=PlaceKind.WAREHOUSE,
        )
        for mount in mounts
    ]


def _lately(doubts: Sequence[Doubt], *, since: int) -> tuple[Doubt, ...]:
    return tuple(d for d in doubts if d.until_ms is None or d.until_ms > since)
