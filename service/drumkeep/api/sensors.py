"""``/sensors``, with where they hang and how they are calibrated."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, page_of
from drumkeep.api.schemas.sensors import (
    CalibrationIn,
    CalibrationOut,
    DoubtOut,
    MountIn,
    MountOut,
    SensorIn,
    SensorOut,
    SensorPatch,
)
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.domain.doubt_words import seen
from drumkeep.domain.grid import from_ms
from drumkeep.domain.roles import Action
from drumkeep.domain.wording import plain
from drumkeep.operations import sensors
from drumkeep.operations.ground import read_ground
from drumkeep.operations.places import place_named
from drumkeep.operations.sensor_watch import WatchedSensor, watch_sensors
from drumkeep.operations.sensors import NewCalibration, NewMount
from drumkeep.storage import catalogue, drums
from drumkeep.storage.tables.catalogue import Sensor
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/sensors", tags=["sensors"])
_LATELY: Final = timedelta(hours=24)
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


class SensorQuery(PageQuery):
    """Which sensors."""

    place: Line | None = None


@router.get("")
def list_sensors(
    tx: ReadingDep, query: Annotated[SensorQuery, Query()], now: Now
) -> PageOf[SensorOut]:
    """List the sensors, those hanging in one place now if asked."""
    place_id = None if query.place is None else place_named(tx, reference=query.place).id
    rows = catalogue.list_sensors(tx, place_id=place_id, after=query.after, limit=query.limit + 1)
    return page_of(rows, lambda shown: _out(tx, shown, now=now), limit=query.limit)


# SenML names may have slashes in them.
@router.get("/{name:path}")
def get_sensor(tx: ReadingDep, name: str, now: Now) -> SensorOut:
    """Get a sensor."""
    return _out(tx, [sensors.sensor_at(tx, name=name)], now=now)[0]


@router.post("", status_code=201, dependencies=_CHANGE)
def create_sensor(tx: TransactionDep, body: SensorIn, response: Response, now: Now) -> SensorOut:
    """Make a sensor, hung and calibrated if it is."""
    sensor = sensors.create_sensor(
        tx,
        name=body.name,
        quantity=body.quantity,
        interval_s=body.interval_s,
        unit=body.unit,
        gateway=body.gateway,
        error_k=body.error_k,
        mount=_mount(body.mount),
        calibration=_calibration(body.calibration),
        now=now,
    )
    located(response, "sensors", sensor.name)
    return _out(tx, [sensor], now=now)[0]


@router.patch("/{name:path}", dependencies=_CHANGE)
def change_sensor(tx: TransactionDep, name: str, body: SensorPatch, now: Now) -> SensorOut:
    """Change a sensor; what changes its past has the drums of its places computed again."""
    changes = body.changes()
    if "mount" in changes:
        changes["mount"] = _mount(body.mount)
    if "calibration" in changes:
        changes["calibration"] = _calibration(body.calibration)
    sensor = sensors.change_sensor(tx, name=name, changes=changes, now=now)
    return _out(tx, [sensor], now=now)[0]


def _mount(sent: MountIn | None) -> NewMount | None:
    return None if sent is None else NewMount(**sent.model_dump())


def _calibration(sent: CalibrationIn | None) -> NewCalibration | None:
    return None if sent is None else NewCalibration(**sent.model_dump())


def _out(tx: Tx, rows: Sequence[Sensor], *, now: datetime) -> list[SensorOut]:
    ids = [row.id for row in rows]
    mounts = catalogue.mounts_of(tx, sensor_ids=ids)
    ground = read_ground(tx, around=[m.place_id for m in mounts if m.place_id is not None])
    watched = watch_sensors(tx, ground=ground, lately=_LATELY, now=now, only=ids)
    doubts = {one.sensor.id: _doubts(one) for one in watched}
    places = catalogue.place_references(tx, ids=[mount.place_id for mount in mounts])
    tags = drums.tags_by_id(tx, ids=[m.drum_id for m in mounts if m.drum_id is not None])
    gateways = catalogue.gateway_references(tx, ids=[row.gateway_id for row in rows])
    hung: defaultdict[int, list[MountOut]] = defaultdict(list)
    for mount in mounts:
        hung[mount.sensor_id].append(
            MountOut(
                what=mount.what,
                place=None if mount.place_id is None else places[mount.place_id],
                drum=None if mount.drum_id is None else tags[mount.drum_id],
                since=mount.since,
                until=mount.until,
                height_m=mount.height_m,
            )
        )
    calibrated: defaultdict[int, list[CalibrationOut]] = defaultdict(list)
    for row in catalogue.calibrations_of(tx, sensor_ids=ids):
        calibrated[row.sensor_id].append(
            CalibrationOut(since=row.since, gain=row.gain, offset=row.offset)
        )
    return [
        SensorOut(
            name=row.name,
            gateway=None if row.gateway_id is None else gateways[row.gateway_id],
            quantity=row.quantity,
            unit=row.unit,
            interval_s=row.interval_s,
            error_k=row.error_k,
            mounts=hung[row.id],
            calibrations=calibrated[row.id],
            doubts=doubts.get(row.id, []),
        )
        for row in rows
    ]


def _doubts(watched: WatchedSensor) -> list[DoubtOut]:
    return [
        DoubtOut(
            reason=doubt.reason.value,
            since=from_ms(doubt.from_ms),
            until=None if doubt.until_ms is None else from_ms(doubt.until_ms),
            words=plain(seen(doubt, what=watched.series.what)),
        )
        for doubt in watched.doubts
    ]
