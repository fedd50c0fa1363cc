"""Sensors: what they are called, how they are calibrated, and where they have hung."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, TypedDict

from drumkeep.domain import tags
from drumkeep.domain.checks import Checks
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.domain.places import OPEN_KINDS
from drumkeep.domain.sensors import (
    MEASURED,
    OF_A_DEVICE,
    OF_A_DRUM,
    UNITS,
    Quantity,
    What,
    may_send,
    name_fault,
)
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.gateways import gateway_named
from drumkeep.operations.places import place_named
from drumkeep.storage import catalogue, drums, place_marks, readings, strays
from drumkeep.storage.tables.catalogue import Calibration, Mount, Sensor
from drumkeep.storage.transaction import Tx

FROM_THE_START: Final = datetime(2000, 1, 1, tzinfo=UTC)
"""When a sensor's first calibration begins unless a time is given: before any reading."""

SLACK: Final = timedelta(minutes=5)
"""How far ahead of ours the clock of whoever records a change may be."""

LONGEST_INTERVAL_S: Final = 86_400.0
HIGHEST_STRAP_M: Final = 0.9
"""A drum is no higher."""


@dataclass(frozen=True)
class NewMount:
    """Where a sensor hangs, from when till when: a place as ``site/code``, or a drum's tag.

    ``height_m`` is above the bottom of the drum; mid-depth where left out.
    """

    what: str
    place: str | None = None
    drum: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    height_m: float | None = None


@dataclass(frozen=True)
class NewCalibration:
    """From ``since`` on, true value = gain x raw value + offset."""

    gain: float = 1.0
    offset: float = 0.0
    since: datetime | None = None


class SensorChanges(TypedDict, total=False):
    """What may change on a sensor; its name and quantity stay.

    ``mount`` hangs it elsewhere (None: takes it down now), ``calibration`` adds to its history.
    """

    gateway: str | None
    interval_s: float
    error_k: float
    mount: NewMount | None
    unmounted_at: datetime
    calibration: NewCalibration


def create_sensor(
    tx: Tx,
    *,
    name: str,
    quantity: str,
    interval_s: float,
    unit: str | None = None,
    gateway: str | None = None,
    error_k: float = 0.5,
    mount: NewMount | None = None,
    calibration: NewCalibration | None = None,
    now: datetime,
) -> Sensor:
    """Make a sensor, hung and calibrated if it is, with what it sent before it was known.

    Raises
    ------
    Invalid
        A value cannot be used: a name that SenML does not allow, a unit of another quantity, an
        unknown gateway, place or drum.
    Conflict
        The name is taken.
    """
    checks = Checks()
    fault = name_fault(name)
    if fault is not None:
        checks.faults.append(fault)
    known = checks.one_of("quantity", quantity, Quantity)
    if known is not None and unit not in {None, UNITS[known]}:
        checks.add(
            "unit",
            unit,
            f"is not the unit of {known}",
            f"Send {UNITS[known]} (SenML, RFC 8428); the gateway converts what it measures.",
        )
    sensor = Sensor(
        name=name,
        quantity=quantity,
        unit=UNITS[known] if known else "",
        interval_s=interval_s,
        error_k=error_k,
    )
    _check(checks, sensor)
    checks.raise_faults("The sensor cannot be made.")
    if catalogue.sensor_by_name(tx, name=name) is not None:
        raise Conflict(
            "The sensor exists already.",
            [Fault("name", name, "is taken", "Change that sensor instead.")],
        )
    if gateway is not None:
        sensor.gateway_id = gateway_named(tx, reference=gateway).id
    catalogue.add(tx, sensor)
    _take_what_was_kept(tx, sensor)
    if calibration is not None:
        _calibrate(tx, sensor, calibration, default_since=FROM_THE_START, now=now)
    if mount is not None:
        _hang(tx, sensor, mount, now=now)
    return sensor


def change_sensor(tx: Tx, *, name: str, changes: SensorChanges, now: datetime) -> Sensor:
    """Change a sensor; what changes its past has the drums of its places computed again.

    Raises
    ------
    NotFound
        There is no such sensor.
    Invalid
        A value cannot be used.
    Conflict
        It hung elsewhere at that time.
    """
    sensor = sensor_at(tx, name=name)
    if "gateway" in changes:
        gateway = changes["gateway"]
        sensor.gateway_id = None if gateway is None else gateway_named(tx, reference=gateway).id
        if (first := _take_what_was_kept(tx, sensor)) is not None:
            _mark(tx, sensor, since=first)
    checks = Checks()
    sensor.interval_s = changes.get("interval_s", sensor.interval_s)
    sensor.error_k = changes.get("error_k", sensor.error_k)
    _check(checks, sensor)
    checks.raise_faults("The sensor cannot be changed.")
    if changes.keys() & {"interval_s", "error_k"}:
        _mark(tx, sensor, since=FROM_THE_START)
    if "calibration" in changes:
        _calibrate(tx, sensor, changes["calibration"], default_since=now, now=now)
    if "unmounted_at" in changes:
        _take_down(tx, sensor, at=changes["unmounted_at"], field="unmounted_at", now=now)
    if "mount" in changes:
        mount = changes["mount"]
        if mount is None:
            _take_down(tx, sensor, at=now, field="mount", now=now)
        else:
            _hang(tx, sensor, mount, now=now)
    return sensor


def sensor_at(tx: Tx, *, name: str) -> Sensor:
    """Return the sensor that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    sensor = catalogue.sensor_by_name(tx, name=name)
    if sensor is None:
        raise NotFound(
            "There is no such sensor.",
            [Fault("sensor", name, "is not known", "See the list of sensors.")],
        )
    return sensor


def _check(checks: Checks, sensor: Sensor) -> None:
    checks.within("interval_s", sensor.interval_s, low=1.0, high=LONGEST_INTERVAL_S, unit="s")
    checks.within("error_k", sensor.error_k, low=0.01, high=10.0, unit="K")


def _check_time(checks: Checks, field: str, at: datetime, *, now: datetime) -> None:
    if not FROM_THE_START <= at <= now + SLACK:
        checks.add(
            field,
            at.isoformat(),
            "is in the future or before 2000",
            "Give the time when it happened.",
        )


def _take_what_was_kept(tx: Tx, sensor: Sensor) -> datetime | None:
    """Store what the sensor sent before it was registered, or before its gateway was the right one.

    Returns
    -------
    datetime or None
        Since when that is; what follows from it is still to be marked.
    """
    stray = strays.by_name(tx, names=[sensor.name]).get(sensor.name)
    if stray is None or not may_send(sensor.gateway_id, stray.gateway_id):
        return None
    said = strays.readings_of(tx, stray_id=stray.id) if stray.quantity == sensor.quantity else []
    strays.forget(tx, row=stray)
    if not said:
        return None
    readings.insert_batch(tx, rows=[(sensor.id, ts, value) for ts, value in said])
    ends = [(sensor.id, *said[0]), (sensor.id, *said[-1])]
    readings.raise_latest(tx, rows=ends, received_ms=to_ms(stray.last_heard_at))
    return from_ms(said[0][0])


def _calibrate(
    tx: Tx, sensor: Sensor, new: NewCalibration, *, default_since: datetime, now: datetime
) -> None:
    checks = Checks()
    checks.within("calibration.gain", new.gain, low=0.5, high=2.0)
    checks.within("calibration.offset", new.offset, low=-20.0, high=20.0, unit=sensor.unit)
    since = new.since or default_since
    _check_time(checks, "calibration.since", since, now=now)
    checks.raise_faults("The calibration cannot be used.")
    same = catalogue.calibration_at(tx, sensor_id=sensor.id, since=since)
    if same is None:
        catalogue.add(
            tx,
            Calibration(sensor_id=sensor.id, since=since, gain=new.gain, offset=new.offset),
        )
    else:
        same.gain, same.offset = new.gain, new.offset
    _mark(tx, sensor, since=since)


def _hang(tx: Tx, sensor: Sensor, new: NewMount, *, now: datetime) -> None:
    """Hang the sensor where the mount says; where it hangs now it is taken down at that time."""
    checks = Checks()
    what = checks.one_of("mount.what", new.what, What)
    since = new.since or now
    _check_time(checks, "mount.since", since, now=now)
    if new.until is not None and new.until <= since:
        checks.add(
            "mount.until",
            new.until.isoformat(),
            "is not after since",
            "Give a later time, or leave it out while it hangs there.",
        )
    if what is not None:
        _check_what(checks, sensor, new, what)
    checks.raise_faults("The sensor cannot hang there.")
    place = None if new.place is None else place_named(tx, reference=new.place, field="mount.place")
    if place is not None and what is What.SUN and place.kind not in OPEN_KINDS:
        open_kinds = ", ".join(sorted(OPEN_KINDS))
        mend = f"Hang it in a place of one of these kinds: {open_kinds}."
        fault = Fault("mount.place", new.place, f"is a {place.kind}, where no sun shines", mend)
        raise Invalid("The sensor cannot hang there.", [fault])
    drum_id = None if new.drum is None else _drum_id(tx, new.drum)
    for other in catalogue.mounts_of(tx, sensor_ids=[sensor.id]):
        if other.until is None and other.since < since:
            other.until = since
        elif (other.until is None or other.until > since) and (
            new.until is None or new.until > other.since
        ):
            raise Conflict(
                "The sensor hung elsewhere at that time.",
                [
                    Fault(
                        "mount.since",
                        since.isoformat(),
                        f"overlaps a mount since {other.since.isoformat()}",
                        "A sensor hangs in one place at a time: give times outside of that one.",
                    )
                ],
            )
    catalogue.add(
        tx,
        Mount(
            sensor_id=sensor.id,
            what=new.what,
            place_id=None if place is None else place.id,
            drum_id=drum_id,
            since=since,
            until=new.until,
            height_m=new.height_m,
        ),
    )
    _mark(tx, sensor, since=since)


def _check_what(checks: Checks, sensor: Sensor, new: NewMount, what: What) -> None:
    if sensor.quantity in OF_A_DEVICE:
        checks.add(
            "mount",
            what,
            f"hangs somewhere, and a {sensor.quantity} is of the device itself",
            "Leave mount out.",
        )
    elif MEASURED[what] != sensor.quantity:
        checks.add(
            "mount.what",
            what,
            f"is no {sensor.quantity}, and that is what the sensor measures",
            f"Use one of: {', '.join(w for w, q in MEASURED.items() if q == sensor.quantity)}.",
        )
    wanted, other = ("drum", "place") if what in OF_A_DRUM else ("place", "drum")
    given = {"place": new.place, "drum": new.drum}
    if given[other] is not None:
        checks.add(
            f"mount.{other}",
            given[other],
            f"is no {wanted}, and {what} is measured of a {wanted}",
            f"Name a {wanted} instead.",
        )
    elif given[wanted] is None:
        checks.add(
            f"mount.{wanted}",
            None,
            "is missing",
            "Write the place as site/code." if wanted == "place" else "Write the drum's tag.",
        )
    if new.height_m is not None and wanted == "place":
        checks.add(
            "mount.height_m",
            new.height_m,
            "is a height on a drum, and this is in a place",
            "Leave it out.",
        )
    checks.within("mount.height_m", new.height_m, low=0.0, high=HIGHEST_STRAP_M, unit="m")


def _take_down(tx: Tx, sensor: Sensor, *, at: datetime, field: str, now: datetime) -> None:
    checks = Checks()
    _check_time(checks, field, at, now=now)
    checks.raise_faults("The sensor cannot be taken down then.")
    hanging = [m for m in catalogue.mounts_of(tx, sensor_ids=[sensor.id]) if m.until is None]
    if not hanging or hanging[-1].since >= at:
        raise Conflict(
            "The sensor does not hang anywhere at that time.",
            [
                Fault(
                    field,
                    at.isoformat(),
                    "is not within a mount that goes on",
                    "See the sensor's mounts.",
                )
            ],
        )
    hanging[-1].until = at
    _mark(tx, sensor, since=at)


def _drum_id(tx: Tx, text: str) -> int:
    tag = tags.parse(text, field="mount.drum")
    drum = drums.drum_by_tag(tx, tag=tag)
    if drum is None:
        raise Invalid(
            "The drum is not known.",
            [Fault("mount.drum", tag, "is not known", "Receive the drum first.")],
        )
    return drum.id


def _mark(tx: Tx, sensor: Sensor, *, since: datetime) -> None:
    """Have the drums computed again wherever this sensor hung from then on."""
    # The line from the reading before changes too, and air is bridged over gaps of up to 2 h.
    reach = max(timedelta(hours=2), timedelta(seconds=2.5 * sensor.interval_s))
    places: dict[int, int] = {}
    strapped: dict[int, int] = {}
    for mount in catalogue.mounts_of(tx, sensor_ids=[sensor.id]):
        if mount.until is not None and mount.until < since:
            continue
        start = max(0, to_ms(max(mount.since, since) - reach))
        if mount.place_id is not None:
            places[mount.place_id] = min(start, places.get(mount.place_id, start))
        elif mount.drum_id is not None:
            strapped[mount.drum_id] = min(start, strapped.get(mount.drum_id, start))
    place_marks.lower(tx, from_ms=places)
    drums.mark(tx, from_ms=strapped)
