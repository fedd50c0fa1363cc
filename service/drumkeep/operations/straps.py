"""Sensors strapped to drums, from what is stored: readings that are trusted, calibrated."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from drumkeep.domain.grid import STEP_MS, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Code, codes_of, look_back_ms
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.domain.sensors import What
from drumkeep.domain.straps import STRAP_STEPS, Strap
from drumkeep.operations.mounted_series import calibrated
from drumkeep.storage import catalogue, readings
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Calibration, Mount, Sensor
from drumkeep.storage.transaction import Tx


def read_straps(tx: Tx, *, firsts: Mapping[int, int], last: int) -> dict[int, list[Strap]]:
    """Return the straps of drums; drums that never had one have no entry.

    Parameters
    ----------
    tx
        Any transaction.
    firsts
        Grid step from which each drum is computed, by drum id.
    last
        Grid step up to which, inclusive.
    """
    mounts = ground_rows.drum_mounts(tx, drum_ids=list(firsts))
    sensor_ids = sorted({mount.sensor_id for mount in mounts})
    sensors = catalogue.sensors_by_id(tx, ids=sensor_ids)
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in catalogue.calibrations_of(tx, sensor_ids=sensor_ids):
        calibrations[calibration.sensor_id].append(calibration)
    found: dict[int, list[Strap]] = defaultdict(list)
    for mount in mounts:
        if mount.drum_id is None:
            continue
        first_ms = (firsts[mount.drum_id] - STRAP_STEPS) * STEP_MS
        until_ms = None if mount.until is None else to_ms(mount.until)
        if to_ms(mount.since) > last * STEP_MS or (until_ms is not None and until_ms < first_ms):
            continue
        found[mount.drum_id].append(
            _strap(
                tx,
                mount,
                sensor=sensors[mount.sensor_id],
                calibrations=calibrations[mount.sensor_id],
                first_ms=first_ms,
                last_ms=last * STEP_MS,
            )
        )
    return found


def _strap(
    tx: Tx,
    mount: Mount,
    *,
    sensor: Sensor,
    calibrations: Sequence[Calibration],
    first_ms: int,
    last_ms: int,
) -> Strap:
    since = max(to_ms(mount.since), first_ms - look_back_ms(sensor.interval_s))
    until = last_ms if mount.until is None else min(last_ms, to_ms(mount.until) - 1)
    times, raw = readings.series(tx, sensor_ids=[sensor.id], from_ms=since, to_ms=until)[sensor.id]
    series = SensorSeries(
        ts_ms=times,
        value_c=calibrated(times, raw, calibrations=calibrations),
        interval_s=sensor.interval_s,
        error_k=sensor.error_k,
        raw=raw,
        what=What(mount.what),
    )
    # what a drum's skin or liquid can be and how it moves does not hang on where the drum stands
    trusted = codes_of(series, kind=PlaceKind.WAREHOUSE) == Code.TRUSTED
    return Strap(
        sensor_id=sensor.id,
        on_wall=series.what is What.SKIN,
        ts_ms=times[trusted],
        value_c=series.value_c[trusted],
        error_k=sensor.error_k,
        height_m=mount.height_m,
    )
