"""A drum's past and days ahead as curves."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from drumkeep.domain.air import PlaceAir
from drumkeep.domain.air_ahead import STRIDE, air_ahead
from drumkeep.domain.grid import moment_of, step_at
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
from drumkeep.operations.estimates import DAY_STEPS
from drumkeep.operations.surroundings import Ground, read_ground, read_places
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import eighths

LONGEST_DAYS: Final = 400


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


def past_of(tx: Tx, *, drum: Drum, start: datetime, end: datetime) -> list[CurvePoint]:
    """Return what was computed of a drum, every half hour, and at its newest state."""
    first, last = step_at(start), step_at(end)
    stored = rows.checkpoints_between(tx, drum_id=drum.id, first=first, last=last)
    steps = [row.step for row in stored]
    records = [row.state for row in stored]
    newest = rows.estimate_of(tx, drum_id=drum.id)
    if newest is not None and first <= newest.step <= last and newest.step not in steps:
        steps.append(newest.step)
        records.append(newest.state)
    if not steps:
        return []
    states = states_from_bytes(records)
    ground = read_ground(tx)
    airs = _airs(tx, ground, states, first=min(steps), last=max(steps))
    return [
        _point(states[i : i + 1], step=step, air=airs[int(states["place"][i])])
        for i, step in enumerate(steps)
    ]


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
    ground = read_ground(tx)
    where = ground.places[place_id or drum.place_id]
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
    room = read_ground(tx).warm_room_for(drum.place_id)
    return None if room is None or room.id == drum.place_id else room.id


def _airs(
    tx: Tx, ground: Ground, states: LiquidStates, *, first: int, last: int
) -> dict[int, PlaceAir]:
    places = sorted({int(place) for place in states["place"]})
    heats = read_places(tx, ground=ground, place_ids=places, first=first, last=last)
    return {place: heat.air for place, heat in heats.items()}


def _point(state: LiquidStates, *, step: int, air: PlaceAir) -> CurvePoint:
    now = float(air.window(first=step, last=step)[0])
    mean = likely_mean(state)
    if not np.isfinite(mean).all():
        return CurvePoint(
            at=moment_of(step),
            air_c=_finite(now),
            bottom_c=None,
            mean_c=None,
            top_c=None,
            low_c=None,
            high_c=None,
            supported=False,
        )
    band = band_at(
        state,
        step=step,
        sensor_error_k=air.error_at(step),
        drive_k=np.nan_to_num(np.abs(now - mean)),
    )
    record = state[0]
    known = air.supported_at(step)
    return CurvePoint(
        at=moment_of(step),
        air_c=_finite(now),
        bottom_c=float(band.bottom[0]),
        mean_c=float(band.mean[0]),
        top_c=float(band.top[0]),
        low_c=float(band.low[0]),
        high_c=float(band.high[0]),
        supported=known
        and bool(record["resolved"])
        and bool(record["doubt_k"] < UNSUPPORTED_K)
        and not disputed(state, step=step)[0],
    )


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
