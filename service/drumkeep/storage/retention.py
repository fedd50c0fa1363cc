"""Old readings, thinned to one in a quarter of an hour with the figures of all of them beside it.

The one that stays is as the sensor gave it, so whatever asks for readings finds some in every
quarter of an hour that had any; how many there were, the lowest, the highest and the sum are in
``rollup_15m``, and those of the hour in ``rollup_1h``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import func, or_, select, tuple_
from sqlmodel import col

from drumkeep.storage import rollups
from drumkeep.storage.bulk import among
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.drums import Drum, Event, Stay
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.tables.readings import latest, reading, rollup_1h, rollup_15m, rollup_dirty
from drumkeep.storage.transaction import Tx

QUARTER_MS: Final = 900_000
_QUARTERS_PER_HOUR: Final = 4
_HOUR_MS: Final = 3_600_000


@dataclass(frozen=True, slots=True)
class Quarter:
    """All readings of a sensor in a quarter of an hour: as it gave them, from an epoch ms on."""

    begin_ms: int
    mean: float
    low: float
    high: float


def first_hour(tx: Tx) -> int | None:
    """Return the hour of the oldest reading; None if there is none."""
    found: int | None = tx.session.connection().scalar(select(func.min(reading.c.hour)))
    return found


def thin(tx: Tx, *, hour: int, may: Callable[[int], bool]) -> int:
    """Thin the readings of an hour; return how many went.

    Parameters
    ----------
    hour
        Since 1970.
    may
        Whether the readings of a sensor, by its id, may be thinned there.
    """
    connection = tx.session.connection()
    if connection.scalar(select(rollup_dirty.c.hour).where(rollup_dirty.c.hour == hour)):
        rollups.make(tx, hours=[hour])
    done = select(rollup_15m.c.sensor_id).where(rollup_15m.c.hour == hour)
    # Where the latest or the oldest of a sensor is known to be, it must be found.
    ends = select(latest.c.sensor_id).where(
        (latest.c.ts.between(hour * _HOUR_MS, (hour + 1) * _HOUR_MS - 1))
        | (latest.c.first_ts.between(hour * _HOUR_MS, (hour + 1) * _HOUR_MS - 1))
    )
    dense = connection.scalars(
        select(rollup_1h.c.sensor_id).where(
            rollup_1h.c.hour == hour,
            rollup_1h.c.n > _QUARTERS_PER_HOUR,
            rollup_1h.c.sensor_id.not_in(done),
            rollup_1h.c.sensor_id.not_in(ends),
        )
    ).all()
    sensor_ids = [sensor_id for sensor_id in dense if may(sensor_id)]
    if not sensor_ids:
        return 0
    chosen = (reading.c.hour == hour, among(connection, reading.c.sensor_id, sensor_ids))
    quarter = (reading.c.ts // QUARTER_MS).label("quarter")
    value = reading.c.value
    connection.execute(
        rollup_15m.insert().from_select(
            [column.name for column in rollup_15m.c],
            select(
                reading.c.hour,
                reading.c.sensor_id,
                quarter,
                func.count(),
                func.min(value),
                func.max(value),
                func.sum(value),
            )
            .where(*chosen)
            .group_by(reading.c.hour, reading.c.sensor_id, quarter),
        )
    )
    mean = func.avg(value).over(partition_by=(reading.c.sensor_id, quarter)).label("mean")
    near = select(reading.c.sensor_id, reading.c.ts, quarter, value, mean).where(*chosen).subquery()
    place = (
        func.row_number()
        .over(
            partition_by=(near.c.sensor_id, near.c.quarter),
            order_by=(func.abs(near.c.value - near.c.mean), near.c.ts),
        )
        .label("place")
    )
    ranked = select(near.c.sensor_id, near.c.ts, place).subquery()
    further = select(ranked.c.sensor_id, ranked.c.ts).where(ranked.c.place > 1)
    gone = connection.execute(
        reading.delete().where(
            reading.c.hour == hour, tuple_(reading.c.sensor_id, reading.c.ts).in_(further)
        )
    )
    return gone.rowcount


def quarters(
    tx: Tx, *, sensor_ids: Sequence[int], from_ms: int, to_ms: int
) -> dict[int, list[Quarter]]:
    """Return what is known of the quarters of an hour that were thinned in a span, oldest first.

    By sensor id; one that has none has no entry.
    """
    connection = tx.session.connection()
    hours = list(range(from_ms // _HOUR_MS, to_ms // _HOUR_MS + 1))
    rows = connection.execute(
        select(
            rollup_15m.c.sensor_id,
            rollup_15m.c.quarter,
            rollup_15m.c.n,
            rollup_15m.c.low,
            rollup_15m.c.high,
            rollup_15m.c.total,
        )
        .where(
            among(connection, rollup_15m.c.hour, hours),
            among(connection, rollup_15m.c.sensor_id, sensor_ids),
        )
        .order_by(rollup_15m.c.quarter)
    )
    found: dict[int, list[Quarter]] = {}
    for sensor_id, number, n, low, high, total in rows:
        quarter = Quarter(number * QUARTER_MS, mean=total / n, low=low, high=high)
        found.setdefault(sensor_id, []).append(quarter)
    return found


def thinned_hours(
    tx: Tx, *, sensor_ids: Sequence[int], hours: Sequence[int]
) -> set[tuple[int, int]]:
    """Return which of these sensors, by id, were thinned in which of these hours."""
    connection = tx.session.connection()
    rows = connection.execute(
        select(rollup_15m.c.sensor_id, rollup_15m.c.hour)
        .where(
            among(connection, rollup_15m.c.hour, hours),
            among(connection, rollup_15m.c.sensor_id, sensor_ids),
        )
        .distinct()
    )
    return {(sensor_id, hour) for sensor_id, hour in rows}


def extremes(
    tx: Tx, *, sensor_id: int, from_ms: int, to_ms: int, within: tuple[float, float]
) -> tuple[float, float] | None:
    """Return the lowest and highest value of the quarters that were thinned in a span.

    As the sensor gave them, of those quarters whose values all lie ``within`` two others; None if
    there is none.
    """
    found = quarters(tx, sensor_ids=[sensor_id], from_ms=from_ms, to_ms=to_ms)
    kept = [
        quarter
        for quarter in found.get(sensor_id, ())
        if within[0] <= quarter.low and quarter.high <= within[1]
    ]
    if not kept:
        return None
    return min(quarter.low for quarter in kept), max(quarter.high for quarter in kept)


def loaded_since(tx: Tx, *, since: datetime) -> list[int]:
    """Return the ids of drums that were on a vehicle at a time or later."""
    statement = (
        select(col(Stay.drum_id))
        .join(Place, col(Place.id) == col(Stay.place_id))
        .where(
            col(Place.kind) == "vehicle",
            col(Stay.origin).is_(False),
            or_(col(Stay.until).is_(None), col(Stay.until) >= since),
        )
        .distinct()
    )
    return list(tx.session.execute(statement).scalars())


def claimable_since(tx: Tx, *, since: datetime) -> list[int]:
    """Return the ids of drums gone since a time on which a claim may rest.

    Of a lot of which any drum was cold, with solids seen in it, or held by somebody.
    """
    stayed = (
        select(col(Stay.drum_id))
        .where(col(Stay.origin).is_(False))
        .group_by(col(Stay.drum_id))
        .having(func.max(Stay.until) >= since)
    )
    cold_lots = (
        select(col(Drum.lot_id))
        .join(Estimate, col(Estimate.drum_id) == col(Drum.id))
        .where(col(Estimate.was_cold_c).is_not(None))
    )
    told = select(col(Event.drum_id)).where(
        or_(
            col(Event.kind) == "held",
            (col(Event.kind) == "inspected")
            & col(Event.data)["solids"].as_string().not_in(["none"]),
        )
    )
    statement = select(col(Drum.id)).where(
        col(Drum.ended).is_not(None),
        col(Drum.id).in_(stayed),
        or_(col(Drum.lot_id).in_(cold_lots), col(Drum.id).in_(told)),
    )
    return list(tx.session.execute(statement).scalars())
