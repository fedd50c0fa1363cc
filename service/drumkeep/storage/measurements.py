"""Queries on what was measured of drums and what the computation made of it."""

from collections.abc import Mapping, Sequence
from uuid import UUID

from sqlmodel import col, delete, select

from drumkeep.storage.tables.measurements import Measurement
from drumkeep.storage.transaction import Tx


def replace(tx: Tx, *, since: Mapping[int, int], rows: Sequence[Measurement]) -> None:
    """Drop what was made of each drum's measurements from a step on, and store it anew.

    Parameters
    ----------
    tx
        A transaction that may write.
    since
        Step by drum id.
    rows
        What was made of those from these steps on.
    """
    by_step: dict[int, list[int]] = {}
    for drum_id, step in since.items():
        by_step.setdefault(step, []).append(drum_id)
    for step, drum_ids in by_step.items():
        tx.session.exec(
            delete(Measurement).where(
                col(Measurement.drum_id).in_(drum_ids), col(Measurement.step) >= step
            )
        )
    tx.session.add_all(rows)


def by_events(tx: Tx, *, event_ids: Sequence[UUID]) -> dict[UUID, Measurement]:
    """Return what was made of dips and skin readings, by the event's id."""
    rows = tx.session.exec(
        select(Measurement).where(col(Measurement.event_id).in_(event_ids))
    ).all()
    return {row.event_id: row for row in rows if row.event_id is not None}


def by_straps(tx: Tx, *, drum_id: int, first: int, last: int) -> Sequence[Measurement]:
    """Return what was made of the readings of a drum's straps from step ``first`` to ``last``."""
    return tx.session.exec(
        select(Measurement)
        .where(
            Measurement.drum_id == drum_id,
            col(Measurement.sensor_id).is_not(None),
            col(Measurement.step).between(first, last),
        )
        .order_by(col(Measurement.step), col(Measurement.sensor_id))
    ).all()


def newest(tx: Tx, *, drum_id: int, limit: int) -> Sequence[Measurement]:
    """Return what was made of the newest measurements of a drum, the newest first."""
    return tx.session.exec(
        select(Measurement)
        .where(Measurement.drum_id == drum_id)
        .order_by(col(Measurement.step).desc(), col(Measurement.id).desc())
        .limit(limit)
    ).all()


def dips(tx: Tx, *, first: int, use: str) -> Sequence[Measurement]:
    """Return dips of this use from a step on, in order of time."""
    return tx.session.exec(
        select(Measurement)
        .where(
            col(Measurement.event_id).is_not(None),
            col(Measurement.on_wall).is_(False),
            col(Measurement.step) >= first,
            Measurement.use == use,
        )
        .order_by(col(Measurement.step), col(Measurement.id))
    ).all()
