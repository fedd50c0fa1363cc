"""Learn every place's habit from the hours on record; once an hour is often enough."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_habits import LEARNED_DAYS, USUAL_DAYS, habit_of
from drumkeep.domain.grid import to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.operations.ground import Ground, read_ground
from drumkeep.operations.hung import calibrated
from drumkeep.storage import air
from drumkeep.storage.tables.air import AirLesson
from drumkeep.storage.tables.catalogue import Mount, Place
from drumkeep.storage.transaction import Tx

Floats = NDArray[np.float64]

_HOUR_MS: Final = 3_600_000
_HOURS: Final = 24 * (LEARNED_DAYS + USUAL_DAYS)


def lessons_of(tx: Tx, *, now: datetime, place_ids: Sequence[int]) -> list[AirLesson]:
    """Return what those of these places teach now that have readings, to be stored.

    Parameters
    ----------
    tx
        Any transaction.
    now
        The present, UTC; its running hour is left out.
    place_ids
        Some hundreds at a time: two months of their sensors' hours are read at once.
    """
    ground = read_ground(tx, around=place_ids)
    before = air.lessons(tx, place_ids=place_ids)
    last_hour = to_ms(now) // _HOUR_MS - 1
    first_hour = last_hour - _HOURS + 1
    sensor_ids = sorted(
        {
            mount.sensor_id
            for place_id in place_ids
            if place_id in ground.places
            for here in ground.enclosing(place_id)
            for mount in ground.air_mounts.get(here, ())
        }
    )
    means = air.hourly_means(tx, sensor_ids=sensor_ids, first_hour=first_hour, last_hour=last_hour)
    stored = air.forecasts_since(tx, since=now - timedelta(days=LEARNED_DAYS))
    forecasts = {site: [air.as_forecast(row) for row in rows] for site, rows in stored.items()}
    found = []
    for place in (ground.places[one] for one in place_ids if one in ground.places):
        hours_c = _hours(ground, place, means=means, first_hour=first_hour)
        if not np.isfinite(hours_c).any():
            continue
        lesson = before.get(place.id)
        since = now
        if lesson is not None and lesson.set_point_c == place.set_point_c:
            since = lesson.set_point_since
        elif lesson is None:
            since = now - timedelta(hours=_HOURS)
        under = hours_c
        if place.kind == PlaceKind.WARM_ROOM and place.set_point_c is not None:
            old = (first_hour + np.arange(_HOURS)) * _HOUR_MS < to_ms(since)
            under = np.where(old, np.nan, hours_c)
        habit = habit_of(
            under,
            first_hour=first_hour,
            kind=PlaceKind(place.kind),
            set_point_c=place.set_point_c,
            forecasts=forecasts.get(place.site_id, ()),
        )
        found.append(
            AirLesson(
                place_id=place.id,
                learned_at=now,
                set_point_c=place.set_point_c,
                set_point_since=since,
                habit=habit.as_json(),
            )
        )
    return found


def store_lessons(tx: Tx, *, lessons: list[AirLesson], now: datetime) -> None:
    """Store what places taught, and drop forecasts that nothing is learned from any more."""
    air.put_lessons(tx, rows=lessons)
    air.drop_forecasts(tx, before=now - timedelta(days=LEARNED_DAYS))


def _hours(ground: Ground, place: Place, *, means: Mapping[int, Floats], first_hour: int) -> Floats:
    """Return the mean air of each hour at a place, °C: by the sensors nearest round it."""
    for here in ground.enclosing(place.id):
        lines = [
            _line(ground, mount, means[mount.sensor_id], first_hour=first_hour)
            for mount in ground.air_mounts.get(here, ())
        ]
        known = [line for line in lines if np.isfinite(line).any()]
        if known:
            rows = np.stack(known)
            some = np.isfinite(rows).any(axis=0)
            found = np.full(_HOURS, np.nan)
            found[some] = np.nanmedian(rows[:, some], axis=0)
            return found
    return np.full(_HOURS, np.nan)


def _line(ground: Ground, mount: Mount, means: Floats, *, first_hour: int) -> Floats:
    """Return a sensor's hours while it hung there, calibrated; the hour of a change is left out."""
    times = (first_hour + np.arange(_HOURS, dtype=np.int64)) * _HOUR_MS
    inside = times >= to_ms(mount.since)
    if mount.until is not None:
        inside &= times + _HOUR_MS <= to_ms(mount.until)
    true = calibrated(times, means, calibrations=ground.calibrations.get(mount.sensor_id, ()))
    return np.where(inside, true, np.nan)
