"""Which drums are ready now, or will be at a time to come where they stand; unsure: not ready."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Any, Final

import numpy as np

from drumkeep.domain.air_ahead import air_ahead
from drumkeep.domain.drums import depth_m
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.outlook import STEP_S, Prospect
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass
from drumkeep.domain.pulls import FRESH, Candidate, Hindrance
from drumkeep.domain.readiness import NOT_COMPUTED, Answer, Readiness
from drumkeep.domain.wording import moment
from drumkeep.operations.estimates import DAY_STEPS
from drumkeep.operations.ground import read_ground
from drumkeep.operations.outlooks import alike
from drumkeep.operations.surroundings import read_places
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M

AT_ONCE: Final = timedelta(minutes=15)
"""What is wanted sooner than this is wanted now: the outlook has no finer steps."""

_WAITING: Final = (Readiness.TOO_COLD, Readiness.TOO_WARM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A drum and whether it is ready in time.

    ``hindrance`` None: it is. ``reason`` is a sentence with marks. ``could_at`` is when it could
    be ready, ``could_in`` the warm room where it would have to be brought at once for that.
    """

    row: StockRow
    candidate: Candidate
    hindrance: Hindrance | None
    reason: str
    could_at: datetime | None = None
    could_in: str | None = None


def is_now(wanted_at: datetime | None, *, now: datetime) -> bool:
    """Whether what is wanted at a time (None: at once) must be ready now."""
    return wanted_at is None or wanted_at <= now + AT_ONCE


def standings(
    tx: Tx,
    *,
    rows: Sequence[StockRow],
    output: OutputClass,
    wanted_at: datetime | None,
    now: datetime,
) -> list[Standing]:
    """Return for each drum whether it is ready in time.

    Parameters
    ----------
    tx
        Any transaction.
    rows
        The drums.
    output
        For which output class.
    wanted_at
        When; None for now.
    now
        The present, UTC.
    """
    later = None if is_now(wanted_at, now=now) else wanted_at
    found = [_now(row, output=output, later=later, now=now) for row in rows]
    if later is None:
        return found
    hopeful = [one.row for one in found if one.hindrance is None]
    inside = _inside_at(tx, rows=hopeful, output=output, at=later)
    return [
        one
        if one.hindrance is not None or one.row.drum.id in inside
        else _not_then(one.row, output=output)
        for one in found
    ]


def _now(row: StockRow, *, output: OutputClass, later: datetime | None, now: datetime) -> Standing:
    """Judge a drum by what is known now; later its temperature is asked besides."""
    estimate = row.estimate
    if row.drum.ended is not None:
        return _standing(row, Hindrance.ON_HOLD, f"It was {row.drum.ended}.")
    if estimate is None:
        return _standing(row, Hindrance.UNKNOWN, NOT_COMPUTED)
    verdict = estimate.verdicts[output.value]
    reason = verdict["reasons"][0] if verdict["reasons"] else ""
    if now - moment_of(estimate.step) > FRESH:
        last = moment(moment_of(estimate.step))
        words = f"It was last computed for {last}: how it is now nobody knows."
        return _standing(row, Hindrance.STALE, words)
    waits = later is not None and verdict["state"] in _WAITING
    if verdict["answer"] != Answer.READY and not (waits and verdict["answer"] == Answer.NOT_YET):
        state = verdict["state"]
        shut = state == Readiness.READY
        hindrance = Hindrance.KEEP_SHUT if shut else Hindrance(state)
        return _standing(row, hindrance, reason, verdict=verdict)
    if later is not None and _ends(row, estimate) <= later:
        return _standing(row, Hindrance.EXPIRES, "Its shelf life ends before then.")
    return _standing(row, None, reason, verdict=verdict)


def _not_then(row: StockRow, *, output: OutputClass) -> Standing:
    """Say that a drum may be outside of its use band at the time wanted."""
    estimate = row.estimate
    assert estimate is not None  # noqa: S101 - it was judged
    verdict = estimate.verdicts[output.value]
    if verdict["state"] == Readiness.READY:
        words = "It is ready now, and by then it may have left its use band where it stands."
        return _standing(row, Hindrance.LEAVES, words)
    reason = verdict["reasons"][0] if verdict["reasons"] else ""
    return _standing(row, Hindrance(verdict["state"]), reason, verdict=verdict)


def _standing(
    row: StockRow,
    hindrance: Hindrance | None,
    reason: str,
    *,
    verdict: dict[str, Any] | None = None,
) -> Standing:
    times = []
    if verdict is not None and verdict["state"] in _WAITING:
        times.append((verdict["ready_at"], None))
        if verdict["state"] == Readiness.TOO_COLD:
            times.append((verdict["ready_in_warm_room_at"], verdict["warm_room"]))
    known = [(datetime.fromisoformat(text), room) for text, room in times if text is not None]
    soonest = min(known, key=lambda one: one[0], default=(None, None))
    depth = depth_m(row.drum.net_kg, product=as_product(row.product))
    return Standing(
        row=row,
        candidate=Candidate(
            drum_id=row.drum.id,
            tag=row.drum.tag,
            place_id=row.place.id,
            lot_id=row.lot.id,
            lot=row.lot.code,
            made_on=row.lot.made_on,
            fill=min(depth / DRUM_INSIDE_HEIGHT_M, 1.0),
            net_kg=row.drum.net_kg,
        ),
        hindrance=hindrance,
        reason=reason,
        could_at=soonest[0],
        could_in=soonest[1],
    )


def _ends(row: StockRow, estimate: Estimate) -> datetime:
    """Return when its shelf life ends, with what heat took off."""
    states = states_from_bytes([estimate.state])
    return age_of(states, product=as_product(row.product), step=estimate.step).ends_at


def _inside_at(tx: Tx, *, rows: Sequence[StockRow], output: OutputClass, at: datetime) -> set[int]:
    """Return the ids of drums whose whole band will lie in the use band; slow case."""
    by_step: dict[int, list[StockRow]] = defaultdict(list)
    for row in rows:
        if row.estimate is not None:
            by_step[row.estimate.step].append(row)
    inside: set[int] = set()
    for step, some in by_step.items():
        inside |= _inside_from(tx, rows=some, output=output, step=step, at=at)
    return inside


def _inside_from(
    tx: Tx, *, rows: Sequence[StockRow], output: OutputClass, step: int, at: datetime
) -> set[int]:
    """Return the same of drums that have come to one step."""
    places = sorted({row.place.id for row in rows})
    ground = read_ground(tx, around=places)
    heats = read_places(tx, ground=ground, place_ids=places, first=step - DAY_STEPS, last=step)
    seconds = (at - moment_of(step)).total_seconds()
    hours = ceil(seconds / 3600.0) + 1
    airs = {
        place: air_ahead(
            kind=PlaceKind(ground.places[place].kind),
            set_point_c=ground.places[place].set_point_c,
            air=heats[place].air,
            clues=heats[place].clues,
            now_step=step,
            hours=hours,
        )
        for place in places
    }
    coarse, groups = alike(
        states_from_bytes([row.estimate.state for row in rows if row.estimate]),
        among=range(len(rows)),
        apart=[(row.product.id, row.place.id, row.drum.share) for row in rows],
    )
    firsts = [group[0] for group in groups]
    some = [rows[i] for i in firsts]
    products = [as_product(row.product) for row in some]
    band = (
        Prospect(
            states=coarse[firsts],
            products=products,
            heats=[heats[row.place.id] for row in some],
            ahead=[airs[row.place.id] for row in some],
            share=np.array([row.drum.share for row in some]),
            step=step,
        )
        .course(hours=hours, pessimist=True)
        .band
    )
    use = np.array([product.limits.use_band(output) for product in products])
    first = int(seconds // STEP_S)
    about = slice(first, first + 2)  # the two times of the outlook between which it lies
    inside = (band.low[about] >= use[:, 0]) & (band.high[about] <= use[:, 1])
    fits = np.asarray(inside.all(axis=0))
    return {rows[i].drum.id for group, fit in zip(groups, fits, strict=True) if fit for i in group}
