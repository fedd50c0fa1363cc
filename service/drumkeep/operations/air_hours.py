"""The air round a drum by the hour, for what looks back further than readings are read singly."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import NO_SENSOR_K
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import manner_of
from drumkeep.domain.sensors import What
from drumkeep.operations.ground import Ground
from drumkeep.operations.hung import calibrated
from drumkeep.storage import air
from drumkeep.storage.tables.catalogue import Mount
from drumkeep.storage.tables.drums import Stay
from drumkeep.storage.transaction import Tx

Floats = NDArray[np.float64]

_HOUR_MS: Final = 3_600_000


@dataclass(frozen=True, slots=True)
class AirHour:
    """Air of an hour, °C: the lowest, the mean and the highest that was read, and its error, K."""

    at: datetime
    low_c: float
    mean_c: float
    high_c: float
    error_k: float


def air_hours(
    tx: Tx, *, ground: Ground, stays: Sequence[Stay], first_ms: int, last_ms: int
) -> dict[int, AirHour]:
    """Return the air where a drum was, by hours since 1970; hours without a reading are left out.

    By the sensors nearest round it: the median of their means, the lowest and highest of all. A
    sensor that said in an hour what no air can be has no say in it.

    Parameters
    ----------
    tx
        Any transaction.
    ground
        The catalogue of places.
    stays
        Where the drum was and when.
    first_ms, last_ms
        The span, epoch ms.
    """
    first, last = first_ms // _HOUR_MS, last_ms // _HOUR_MS
    mounts = [
        mount
        for place in sorted({stay.place_id for stay in stays})
        for here in ground.enclosing(place)
        for mount in ground.air_mounts.get(here, ())
    ]
    sensor_ids = sorted({mount.sensor_id for mount in mounts})
    figures = air.hourly_figures(tx, sensor_ids=sensor_ids, first_hour=first, last_hour=last)
    found: dict[int, AirHour] = {}
    for stay in stays:
        if stay.origin:
            continue
        begin = max(first, to_ms(stay.since) // _HOUR_MS)
        end = last if stay.until is None else min(last, to_ms(stay.until) // _HOUR_MS)
        if begin <= end:
            found |= _at_place(
                ground, stay.place_id, figures=figures, first=first, begin=begin, end=end
            )
    return found


def _at_place(
    ground: Ground,
    place_id: int,
    *,
    figures: Mapping[int, Floats],
    first: int,
    begin: int,
    end: int,
) -> dict[int, AirHour]:
    hours = np.arange(begin, end + 1)
    found: dict[int, AirHour] = {}
    for here in ground.enclosing(place_id):
        kind = PlaceKind(ground.places[here].kind)
        told = [
            (_of_mount(ground, mount, kind, figures[mount.sensor_id][:, hours - first], hours), e)
            for mount in ground.air_mounts.get(here, ())
            for e in (ground.sensors[mount.sensor_id].error_k,)
        ]
        for n, hour in enumerate(hours.tolist()):
            heard = [(rows[:, n], error_k) for rows, error_k in told if np.isfinite(rows[0, n])]
            if heard and hour not in found:
                found[hour] = AirHour(
                    at=from_ms(hour * _HOUR_MS + _HOUR_MS // 2),
                    low_c=float(min(rows[0] for rows, _ in heard)),
                    mean_c=float(np.median([rows[1] for rows, _ in heard])),
                    high_c=float(max(rows[2] for rows, _ in heard)),
                    error_k=min((e for _, e in heard), default=NO_SENSOR_K),
                )
    return found


def _of_mount(
    ground: Ground, mount: Mount, kind: PlaceKind, given: Floats, hours: NDArray[np.int64]
) -> Floats:
    """Return lowest, mean and highest of a sensor while it hung there, calibrated (3, hour)."""
    times = hours * _HOUR_MS
    inside = times + _HOUR_MS > to_ms(mount.since)
    if mount.until is not None:
        inside &= times < to_ms(mount.until)
    known = ground.calibrations.get(mount.sensor_id, ())
    true = np.stack([calibrated(times, row, calibrations=known) for row in given])
    low, high = np.minimum(true[0], true[2]), np.maximum(true[0], true[2])
    manner = manner_of(What.AIR, kind=kind)
    inside &= (low >= manner.low) & (high <= manner.high)
    return np.where(inside, np.stack([low, true[1], high]), np.nan)
