"""A drum's past and days ahead as curves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from drumkeep.domain.air import NO_SENSOR_K, PlaceAir
from drumkeep.domain.air_ahead import STRIDE, air_ahead
from drumkeep.domain.grid import STEPS_PER_HOUR, moment_of, step_at, to_ms
from drumkeep.domain.liquid_state import (
    UNSUPPORTED_K,
    LiquidStates,
    band_at,
    disputed,
    likely_mean,
    states_from_bytes,
)
from drumkeep.domain.outlook import Prospect
from drumkeep.domain.places import PlaceKind
from drumkeep.operations.air_hours import AirHour, air_hours
from drumkeep.operations.estimates import DAY_STEPS
from drumkeep.operations.ground import read_ground, read_premises
from drumkeep.operations.surroundings import read_places
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import eighths

SINGLY: Final = timedelta(days=14)
"""Over more than this the air is told by the hour."""


@dataclass(frozen=True)
class CurvePoint:
    """A drum and its air at one time, °C; None where not known."""

    at: datetime
    air_c: float | None
    bottom_c: float | None
    mean_c: float | None
    top_c: float | None
    low_c: float | None
    high_c: float | None
    supported: bool


@dataclass(frozen=True)
class Past:
    """What was computed of a drum, and the air round it.

    ``resolution_s`` is 0 where the air of each point is that of its time, 3600 where it is the mean
    of its hour; then ``hours`` are the lowest, mean and highest of every hour.
    """

    points: Sequence[CurvePoint]
    resolution_s: int = 0
    hours: Sequence[AirHour] = ()


def past_of(tx: Tx, *, drum: Drum, start: datetime, end: datetime) -> Past:
    """Return what was computed of a drum, and its newest state.

    Every half hour with the air of that time, or over more than a fortnight every hour with the
    hours' figures of the air: single readings of months would take long, and are thinned.
    """
    first, last = step_at(start), step_at(end)
    by_hours = end - start > SINGLY
    stored = rows.checkpoints_between(tx, drum_id=drum.id, first=first, last=last)
    if by_hours:
        stored = [row for row in stored if row.step % STEPS_PER_HOUR == 0]
    steps = [row.step for row in stored]
    records = [row.state for row in stored]
    newest = rows.estimate_of(tx, drum_id=drum.id)
    if newest is not None and first <= newest.step <= last and newest.step not in steps:
        steps.append(newest.step)
        records.append(newest.state)
    if by_hours:
        stays = drum_rows.stays_of(tx, drum_ids=[drum.id])
        ground = read_ground(tx, around=[stay.place_id for stay in stays])
        hours = air_hours(tx, ground=ground, stays=stays, first_ms=to_ms(start), last_ms=to_ms(end))
        points = _points(records, steps=steps, airs=[_of_hour(hours, step=s) for s in steps])
        return Past(points, resolution_s=3600, hours=[hours[hour] for hour in sorted(hours)])
    if not steps:
        return Past([])
    states = states_from_bytes(records)
    airs = _airs(tx, states, first=min(steps), last=max(steps))
    told = [
        _of_step(airs, place, step=step)
        for place, step in zip(states["place"].tolist(), steps, strict=True)
    ]
    return Past(_points(records, steps=steps, airs=told))


@dataclass(frozen=True)
class _Air:
    """Air of a point: °C, NaN where not known, its error, and whether readings bound it."""

    c: float
    error_k: float
    known: bool


def _of_hour(hours: Mapping[int, AirHour], *, step: int) -> _Air:
    hour = hours.get(step // STEPS_PER_HOUR)
    if hour is None:
        return _Air(float("nan"), NO_SENSOR_K, known=False)
    return _Air(hour.mean_c, hour.error_k, known=True)


def _of_step(airs: Mapping[int, PlaceAir], place: int, *, step: int) -> _Air:
    air = airs[int(place)]
    now = float(air.window(first=step, last=step)[0])
    return _Air(now, air.error_at(step), known=air.supported_at(step))


def ahead_of(tx: Tx, *, drum: Drum, hours: int, place_id: int | None = None) -> list[CurvePoint]:
    """Return the days ahead of a drum where it is, or moved now to another place; slow case band.

    Parameters
    ----------
    tx
        Any transaction.
    drum
        Which.
    hours
        How far.
    place_id
        Another place than where it stands.
    """
    newest = rows.estimate_of(tx, drum_id=drum.id)
    if newest is None or newest.bottom_c is None or drum.ended is not None:
        return []
    state = states_from_bytes([newest.state])
    step = newest.step
    here = place_id or drum.place_id
    ground = read_ground(tx, around=[here])
    where = ground.places[here]
    heat = read_places(tx, ground=ground, place_ids=[where.id], first=step - DAY_STEPS, last=step)[
        where.id
    ]
    ahead = air_ahead(
        kind=PlaceKind(where.kind),
        set_point_c=where.set_point_c,
        air=heat.air,
        clues=heat.clues,
        now_step=step,
        hours=hours,
    )
    product = as_product(drum_rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1])
    course = Prospect(
        states=state,
        products=[product],
        heats=[heat],
        ahead=[ahead],
        share=np.array([drum.share]),
        step=step,
    ).course(hours=hours, pessimist=True)
    band = course.band
    return [
        CurvePoint(
            at=moment_of(step + i * STRIDE),
            air_c=_finite(ahead.likely[i]),
            bottom_c=float(band.bottom[i, 0]),
            mean_c=float(band.mean[i, 0]),
            top_c=float(band.top[i, 0]),
            low_c=float(band.low[i, 0]),
            high_c=float(band.high[i, 0]),
            supported=True,
        )
        for i in range(0, len(course.seconds), 2)
    ]


def layers_of(tx: Tx, *, drum: Drum) -> tuple[float, ...] | None:
    """Return the likely layers of a drum, bottom first, °C; None where nothing is known."""
    newest = rows.estimate_of(tx, drum_id=drum.id)
    if newest is None or newest.bottom_c is None:
        return None
    layers = states_from_bytes([newest.state])["layers"][0, LIKELY]
    return tuple(float(c) for c in eighths(layers))


def warm_room_for(tx: Tx, *, drum: Drum) -> int | None:
    """Return the id of the warm room a drum would go to; None where there is none or it is in."""
    room = read_premises(tx, around=[drum.place_id]).warm_room_for(drum.place_id)
    return None if room is None or room.id == drum.place_id else room.id


def _airs(tx: Tx, states: LiquidStates, *, first: int, last: int) -> dict[int, PlaceAir]:
    places = sorted({int(place) for place in states["place"]})
    ground = read_ground(tx, around=places)
    heats = read_places(tx, ground=ground, place_ids=places, first=first, last=last)
    return {place: heat.air for place, heat in heats.items()}


def _points(
    records: list[bytes], *, steps: Sequence[int], airs: Sequence[_Air]
) -> list[CurvePoint]:
    """Return what records say at their steps, all at once."""
    if not records:
        return []
    states, at = states_from_bytes(records), np.array(steps, dtype=np.int64)
    mean = likely_mean(states)
    now = np.array([air.c for air in airs])
    band = band_at(
        states,
        step=at,
        sensor_error_k=np.array([air.error_k for air in airs]),
        drive_k=np.nan_to_num(np.abs(now - mean)),
    )
    sure = states["resolved"] & (states["doubt_k"] < UNSUPPORTED_K) & ~disputed(states, step=at)
    return [
        CurvePoint(
            at=moment_of(step),
            air_c=_finite(air.c),
            bottom_c=_finite(band.bottom[i]),
            mean_c=_finite(band.mean[i]),
            top_c=_finite(band.top[i]),
            low_c=_finite(band.low[i]) if np.isfinite(mean[i]) else None,
            high_c=_finite(band.high[i]) if np.isfinite(mean[i]) else None,
            supported=bool(air.known and sure[i] and np.isfinite(mean[i])),
        )
        for i, (step, air) in enumerate(zip(steps, airs, strict=True))
    ]


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
