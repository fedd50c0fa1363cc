"""Queries on alarms."""

from collections.abc import Sequence
from typing import Final

from sqlmodel import col, func, select

from drumkeep.domain.alarms import WAITING, AlarmKind
from drumkeep.storage.bulk import keyed
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.alarms import Alarm, AlarmEntry
from drumkeep.storage.tables.catalogue import Mount, Place, Sensor
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

_OF_SENSORS: Final = (
    AlarmKind.SENSOR_SILENT,
    AlarmKind.SENSOR_STUCK,
    AlarmKind.SENSOR_IMPLAUSIBLE,
)
"""Alarms whose cause is a sensor's name."""


def open_alarms(tx: Tx, *, sites: Sites = None) -> Sequence[Alarm]:
    """Return every alarm of sites that is not back to normal, oldest first."""
    statement = select(Alarm).where(col(Alarm.open_cause).is_not(None))
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Alarm.site_id), sites))
    return tx.session.exec(statement.order_by(col(Alarm.raised_at))).all()


def alarmed_sensors(tx: Tx) -> set[str]:
    """Return the names of the sensors that an open alarm is about."""
    causes = select(Alarm.cause).where(
        col(Alarm.open_cause).is_not(None), col(Alarm.kind).in_(_OF_SENSORS)
    )
    return set(tx.session.exec(causes))


def count_waiting(tx: Tx) -> int:
    """Count the alarms that nobody has acknowledged."""
    waiting = select(func.count()).select_from(Alarm).where(col(Alarm.state).in_(WAITING))
    return tx.session.exec(waiting).one()


def carried_off(tx: Tx) -> list[tuple[Alarm, int]]:
    """Return the open alarms of sensors that hang at another site by now, and at which.

    One on a drum goes where the drum goes.
    """
    statement = (
        select(Alarm, Place.site_id)
        .join(Sensor, col(Sensor.name) == col(Alarm.cause))
        .join(Mount, col(Mount.sensor_id) == col(Sensor.id))
        .join(Drum, col(Mount.drum_id) == col(Drum.id), isouter=True)
        .join(Place, func.coalesce(col(Mount.place_id), col(Drum.place_id)) == col(Place.id))
        .where(
            col(Alarm.open_cause).is_not(None),
            col(Alarm.kind).in_(_OF_SENSORS),
            col(Mount.until).is_(None),
            col(Place.site_id) != col(Alarm.site_id),
        )
    )
    return [(alarm, site) for alarm, site in tx.session.exec(statement)]


def alarm(tx: Tx, *, alarm_id: str) -> Alarm | None:
    """Return one alarm."""
    return tx.session.get(Alarm, alarm_id)


def list_alarms(
    tx: Tx, *, state: str | None = None, before: str | None = None, limit: int = 200
) -> Sequence[Alarm]:
    """Return alarms, newest first, past the one whose id is ``before``."""
    statement = select(Alarm).order_by(col(Alarm.raised_at).desc(), col(Alarm.id).desc())
    if state is not None:
        statement = statement.where(Alarm.state == state)
    if before is not None:
        last = alarm(tx, alarm_id=before)
        if last is not None:
            statement = statement.where(
                (col(Alarm.raised_at) < last.raised_at)
                | ((col(Alarm.raised_at) == last.raised_at) & (col(Alarm.id) < last.id))
            )
    return tx.session.exec(statement.limit(limit)).all()


def history(tx: Tx, *, alarm_ids: Sequence[str]) -> dict[str, list[AlarmEntry]]:
    """Return the changes of alarms by alarm id, oldest first."""
    found: dict[str, list[AlarmEntry]] = {alarm_id: [] for alarm_id in alarm_ids}
    rows = tx.session.exec(
        select(AlarmEntry)
        .where(col(AlarmEntry.alarm_id).in_(alarm_ids))
        .order_by(col(AlarmEntry.id))
    ).all()
    for row in rows:
        found[row.alarm_id].append(row)
    return found


def add(tx: Tx, row: Alarm | AlarmEntry) -> None:
    """Store an alarm or a change of one."""
    tx.session.add(row)
    tx.session.flush()  # an entry refers to its alarm


def unpublished(tx: Tx, *, limit: int = 200) -> Sequence[Alarm]:
    """Return alarms whose newest state has not been published."""
    return tx.session.exec(
        select(Alarm)
        .where(col(Alarm.published).is_(False))
        .order_by(col(Alarm.changed_at))
        .limit(limit)
    ).all()
