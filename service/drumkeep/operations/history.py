"""A drum's past and days ahead as curves."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from drumkeep.domain.air import NO_SENSOR_K, PlaceAir
from drumkeep.domain.air_ahead import STRIDE, air_ahead
from drumkeep.domain.grid import STEPS_PER_HOUR, moment_of, step_at, to_ms
from drumkeep.domain.liquid_state import (
    UNSUPPORTED_K,
    band_at,
    disputed,
    likely_mean,
    states_from_bytes,
)
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.outlook import Prospect
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product
from drumkeep.operations.air_hours import AirHour, air_hours
from drumkeep.operations.estimates import DAY_STEPS
from drumkeep.operations.ground import read_ground, read_ground_under, read_premises
from drumkeep.operations.surroundings import read_places
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Place
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


@dataclass(frozen=True)
class Course:
    """How a drum got to where it is, and its days ahead."""

    past: Past
    ahead: Sequence[CurvePoint]


def course_of(
    tx: Tx,
    *,
    drum: Drum,
    product: Product,
    start: datetime,
    end: datetime,
    hours: int,
    in_warm_room: bool = False,
) -> Course:
    """Return the past of a drum up to the present, and the days ahead of it; slow case band.

    What was read of the places for the one serves the other.

    Parameters
    ----------
    tx
        Any transaction.
    drum, product
        Which, and what it holds.
    start, end
        Of the past.
    hours
        How far to look.
    in_warm_room
        Moved now to the warm room that it would go to, if there is one; else where it is.
    """
    newest = rows.estimate_of(tx, drum_id=drum.id)
    since = None if newest is None else newest.step - DAY_STEPS
    heats = _Heats(tx, since=since)
    past = _past(tx, drum=drum, start=start, end=end, heats=heats)
    place = warm_room_for(tx, drum=drum) if in_warm_room else None
    ahead = _ahead(tx, drum=drum, product=product, hours=hours, place_id=place, heats=heats)
    return Course(past, ahead)


@dataclass
class _Heats:
    """Places as the liquid feels them, read once for all that is asked of one drum.

    They are read from the grid step ``since`` on at least.
    """

    tx: Tx
    since: int | None = None
    read: dict[int, PlaceHeat] = field(default_factory=dict)
    places: dict[int, Place] = field(default_factory=dict)

    def get(self, place_ids: Iterable[int], *, first: int, last: int) -> Mapping[int, PlaceHeat]:
        """Return places over grid steps ``first`` … ``last`` at least."""
        begin = first if self.since is None else min(first, self.since)
        missing = [
            place
            for place in place_ids
            if place not in self.read or not _lies_in(self.read[place], first=first, last=last)
        ]
        if missing:
            ground = read_ground_under(self.tx, place_ids=missing)
            self.places.update(ground.places)
            self.read |= read_places(
                self.tx, ground=ground, place_ids=missing, first=begin, last=last
            )
        return self.read


def _lies_in(heat: PlaceHeat, *, first: int, last: int) -> bool:
    """Tell whether a place was read over a span, and no further than its end.

    The days ahead go on from its last step.
    """
    air = heat.air
    return air.first <= first and air.first + len(air.likely) - 1 == last


def past_of(tx: Tx, *, drum: Drum, start: datetime, end: datetime) -> Past:
    """Return what was computed of a drum, and its newest state.

    Every half hour with the air of that time, or over more than a fortnight every hour with the
    hours' figures of the air: single readings of months would take long, and are thinned.
    """
    return _past(tx, drum=drum, start=start, end=end, heats=_Heats(tx))


def _past(tx: Tx, *, drum: Drum, start: datetime, end: datetime, heats: _Heats) -> Past:
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
    places = states_from_bytes(records)["place"].tolist()
    found = heats.get(sorted(set(places)), first=min(steps), last=max(steps))
    told = [
        _of_step(found[place].air, step=step) for place, step in zip(places, steps, strict=True)
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


def _of_step(air: PlaceAir, *, step: int) -> _Air:
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
    product = as_product(drum_rows.lots_and_products(tx, lot_ids=[drum.lot_id])[drum.lot_id][1])
    return _ahead(tx, drum=drum, product=product, hours=hours, place_id=place_id, heats=_Heats(tx))


def _ahead(
    tx: Tx, *, drum: Drum, product: Product, hours: int, place_id: int | None, heats: _Heats
) -> list[CurvePoint]:
    newest = rows.estimate_of(tx, drum_id=drum.id)
    if newest is None or newest.bottom_c is None or drum.ended is not None:
        return []
    state = states_from_bytes([newest.state])
    step = newest.step
    here = place_id or drum.place_id
    heat = heats.get([here], first=step - DAY_STEPS, last=step)[here]
    where = heats.places[here]
    ahead = air_ahead(
        kind=PlaceKind(where.kind),
        set_point_c=where.set_point_c,
        air=heat.air,
        clues=heat.clues,
        now_step=step,
        hours=hours,
    )
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
