"""Queries on forecasts of the air, and on what the places' past taught."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func
from sqlalchemy import select as select_rows
from sqlmodel import col, delete, select

from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.storage import rollups
from drumkeep.storage.bulk import among
from drumkeep.storage.tables.air import AirForecast, AirLesson
from drumkeep.storage.tables.readings import reading
from drumkeep.storage.transaction import Tx

Floats = NDArray[np.float64]

_HOURS_AT_ONCE: Final = 200
_PLACES_AT_ONCE: Final = 1000


def as_forecast(row: AirForecast) -> OutdoorForecast:
    """Return a stored forecast as the rules take it."""
    points = np.array(row.points, dtype=np.float64)
    return OutdoorForecast(issued_at=row.issued_at, at_s=points[:, 0], c=points[:, 1])


def put_forecast(tx: Tx, row: AirForecast) -> AirForecast:
    """Store a forecast, in place of one of the same site and issue."""
    found = tx.session.exec(
        select(AirForecast).where(
            AirForecast.site_id == row.site_id, AirForecast.issued_at == row.issued_at
        )
    ).one_or_none()
    if found is not None:
        found.received_at, found.by, found.points = row.received_at, row.by, row.points
    stored = found or row
    tx.session.add(stored)
    tx.session.flush()
    return stored


def newest_forecast(tx: Tx, *, site_id: int) -> AirForecast | None:
    """Return the forecast of a site that was issued last."""
    statement = select(AirForecast).where(AirForecast.site_id == site_id)
    return tx.session.exec(statement.order_by(col(AirForecast.issued_at).desc()).limit(1)).first()


def forecasts_since(tx: Tx, *, since: datetime) -> dict[int, list[AirForecast]]:
    """Return forecasts issued since a time by site, oldest first."""
    rows = tx.session.exec(
        select(AirForecast)
        .where(col(AirForecast.issued_at) >= since)
        .order_by(col(AirForecast.issued_at))
    ).all()
    found: dict[int, list[AirForecast]] = {}
    for row in rows:
        found.setdefault(row.site_id, []).append(row)
    return found


def drop_forecasts(tx: Tx, *, before: datetime) -> None:
    """Drop forecasts issued before a time."""
    tx.session.exec(delete(AirForecast).where(col(AirForecast.issued_at) < before))


def lessons(tx: Tx, *, place_ids: Sequence[int]) -> dict[int, AirLesson]:
    """Return what the past of places taught, by place id; some have taught nothing yet."""
    found: dict[int, AirLesson] = {}
    for start in range(0, len(place_ids), _PLACES_AT_ONCE):
        some = place_ids[start : start + _PLACES_AT_ONCE]
        rows = tx.session.exec(select(AirLesson).where(col(AirLesson.place_id).in_(some)))
        found |= {row.place_id: row for row in rows}
    return found


def put_lessons(tx: Tx, *, rows: Sequence[AirLesson]) -> None:
    """Store lessons, each in place of the one before."""
    for row in rows:
        tx.session.merge(row)


def hourly_means(
    tx: Tx, *, sensor_ids: Sequence[int], first_hour: int, last_hour: int
) -> dict[int, Floats]:
    """Return each sensor's mean of every hour, as it gave them; NaN for hours without a reading.

    Parameters
    ----------
    tx
        Any transaction.
    sensor_ids
        Each gets an entry.
    first_hour, last_hour
        UTC hours since 1970, inclusive.
    """
    found = hourly_figures(tx, sensor_ids=sensor_ids, first_hour=first_hour, last_hour=last_hour)
    return {sensor_id: rows[1] for sensor_id, rows in found.items()}


def hourly_figures(
    tx: Tx, *, sensor_ids: Sequence[int], first_hour: int, last_hour: int
) -> dict[int, Floats]:
    """Return the same with lowest and highest: (3, hour), lowest, mean and highest."""
    found = {s: np.full((3, last_hour - first_hour + 1), np.nan) for s in sensor_ids}
    value = reading.c.value
    statement = (
        select_rows(
            reading.c.hour,
            reading.c.sensor_id,
            func.min(value),
            func.avg(value),
            func.max(value),
        )
        .where(reading.c.sensor_id.in_(list(found)))
        .group_by(reading.c.hour, reading.c.sensor_id)
    )
    connection = tx.session.connection()
    for start in range(first_hour, last_hour + 1, _HOURS_AT_ONCE):
        hours = range(start, min(start + _HOURS_AT_ONCE, last_hour + 1))
        known, rest = rollups.figures(tx, sensor_ids=list(found), hours=hours)
        for row in known:
            found[row.sensor_id][:, row.hour - first_hour] = (row.low, row.total / row.n, row.high)
        for hour, sensor_id, low, mean, high in connection.execute(
            statement.where(among(connection, reading.c.hour, rest))
        ):
            found[sensor_id][:, hour - first_hour] = (low, mean, high)
    return found
