"""Sensors strapped to drums, from what is stored: readings that are trusted, calibrated."""

from collections import defaultdict
from collections.abc import Mapping

from drumkeep.domain.grid import STEP_MS, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Code, codes_of, look_back_ms
from drumkeep.domain.sensors import What
from drumkeep.domain.straps import STRAP_STEPS, Strap
from drumkeep.operations.hung import Hung
from drumkeep.storage import catalogue, readings
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Calibration
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
    calibrations = defaultdict[int, list[Calibration]](list)
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
        # what a drum's skin or liquid can be, and how it moves, does not hang on where it stands
        hung = Hung(
            mount,
            sensors[mount.sensor_id],
            calibrations[mount.sensor_id],
            kind=PlaceKind.WAREHOUSE,
        )
        found[mount.drum_id].append(_strap(tx, hung, first_ms=first_ms, last_ms=last * STEP_MS))
    return found


def _strap(tx: Tx, hung: Hung, *, first_ms: int, last_ms: int) -> Strap:
    sensor = hung.sensor
    since = max(hung.since_ms(), first_ms - look_back_ms(sensor.interval_s))
    stored = readings.series(tx, sensor_ids=[sensor.id], from_ms=since, to_ms=last_ms)
    series = hung.series(*stored[sensor.id])
    trusted = codes_of(series, kind=hung.kind) == Code.TRUSTED
    return Strap(
        sensor_id=sensor.id,
        on_wall=series.what is What.SKIN,
        ts_ms=series.ts_ms[trusted],
        value_c=series.value_c[trusted],
        error_k=sensor.error_k,
        height_m=hung.mount.height_m,
    )
