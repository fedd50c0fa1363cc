"""Films of places: learned from the dips of the drums that stood there, pinned, or reset."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from drumkeep.domain.checks import Checks
from drumkeep.domain.drum_past import DrumPast, first_measurement
from drumkeep.domain.events import MEASURING, DrumEvent, EventKind, effective
from drumkeep.domain.film import (
    LEAST_FACTOR,
    LEAST_HALF_RANGE,
    MOST_FACTOR,
    NAMED_FILM,
    Evidence,
    FilmInForce,
    FilmSource,
    Learned,
    differs,
    evidence_of,
    film_at,
    learn,
)
from drumkeep.domain.grid import STEP_MS, moment_of, step_at
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_measured import Use
from drumkeep.domain.liquid_observed import depth_of, height_row
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.operations.estimates import load
from drumkeep.storage import catalogue, measurements, place_films, place_marks
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.parameter_sets import GIVEN_FILM_RANGE, LIKELY

REMEMBERED: Final = timedelta(days=90)
"""Dips further back are learned from no more: what was there may have changed."""

MOST_DIPS: Final = 50
"""The newest so many of a place; more say hardly more."""

WIDEST_HALF_RANGE: Final = 2.0

_LOG_NUDGE: Final = 0.1
"""By so much either way the logarithm of the film is moved to see what a dip owes to it."""

_DISTURBING: Final = frozenset(
    {EventKind.TOPPED, EventKind.HEATED, EventKind.AGITATED, EventKind.DECANTED}
)
"""Where one of these lies between two measurements, the second says little of the film."""


@dataclass(frozen=True)
class Lesson:
    """One dip to learn from: the drum's past from the measurement before up to just before it."""

    dip: Measurement
    place_id: int
    since: int
    past: DrumPast
    places: Mapping[int, PlaceHeat]
    density_kg_m3: float


@dataclass(frozen=True)
class PlaceLearned:
    """What a place's dips amount to."""

    place_id: int
    learned: Learned


def film_now(rows: Sequence[PlaceFilm], *, now: datetime) -> FilmInForce:
    """Return the film that is in force at a time."""
    return film_at(place_films.course_of(rows), step=step_at(now))


def pin(
    tx: Tx, *, place: Place, factor: float, half_range: float | None, by: str, now: datetime
) -> PlaceFilm:
    """Pin a place's film: from the next step on nothing is learned there until it is reset.

    Raises
    ------
    Invalid
        The factor or the half-range cannot be.
    """
    checks = Checks()
    checks.within("factor", factor, low=LEAST_FACTOR, high=MOST_FACTOR)
    checks.within("half_range", half_range, low=LEAST_HALF_RANGE, high=WIDEST_HALF_RANGE)
    checks.raise_faults("The film cannot be pinned so.")
    in_range = GIVEN_FILM_RANGE if half_range is None else half_range
    return _put(
        tx,
        place_id=place.id,
        film=Learned(factor=factor, half_range=in_range, dips=0),
        source=FilmSource.PINNED,
        by=by,
        now=now,
    )


def reset(tx: Tx, *, place: Place, by: str, now: datetime) -> PlaceFilm:
    """Forget what was learned or pinned: the named films hold again, and learning begins anew."""
    named = Learned(factor=NAMED_FILM.factor, half_range=NAMED_FILM.half_range, dips=0)
    return _put(tx, place_id=place.id, film=named, source=FilmSource.RESET, by=by, now=now)


def lessons(tx: Tx, *, now: datetime) -> list[Lesson]:
    """Return the dips that may say something of their places' films, the newest of each first."""
    said = ground_rows.films(tx)
    found: dict[int, list[Lesson]] = defaultdict(list)
    first = step_at(now - REMEMBERED)
    for dip in reversed(measurements.dips(tx, first=first, use=Use.USED.value)):
        place_id = drum_rows.place_at(tx, drum_id=dip.drum_id, at=moment_of(dip.step))
        if place_id is None or len(found[place_id]) >= MOST_DIPS:
            continue
        rows = said.get(place_id, ())
        if _is_pinned(rows) or dip.step <= _forgotten_to(rows):
            continue
        lesson = _lesson(tx, dip, place_id=place_id)
        if lesson is not None:
            found[place_id].append(lesson)
    return [lesson for some in found.values() for lesson in some]


def study(some: Sequence[Lesson]) -> list[PlaceLearned]:
    """Work out what dips say of the films of their places; no database."""
    evidence: dict[int, list[Evidence]] = defaultdict(list)
    for lesson in some:
        said = _evidence(lesson)
        if said is not None:
            evidence[lesson.place_id].append(said)
    return [PlaceLearned(place, learn(said)) for place, said in sorted(evidence.items())]


def put_learned(tx: Tx, *, found: Sequence[PlaceLearned], now: datetime) -> list[PlaceFilm]:
    """Put in force what was learned, where it differs from what is and nothing is pinned."""
    made = []
    for place in found:
        rows = place_films.films_of(tx, place_id=place.place_id)
        if _is_pinned(rows) or (rows and rows[-1].since > now):
            continue
        if differs(place.learned, from_=film_now(rows, now=now)):
            made.append(
                _put(
                    tx,
                    place_id=place.place_id,
                    film=place.learned,
                    source=FilmSource.LEARNED,
                    by=None,
                    now=now,
                )
            )
    return made


def _put(
    tx: Tx, *, place_id: int, film: Learned, source: FilmSource, by: str | None, now: datetime
) -> PlaceFilm:
    # From the next step on: what is computed up to now stays as it is.
    since = moment_of(step_at(now) + 1)
    row = catalogue.add(
        tx,
        PlaceFilm(
            place_id=place_id,
            since=since,
            factor=film.factor,
            half_range=film.half_range,
            dips=film.dips,
            source=source.value,
            by=by,
            recorded_at=now,
        ),
    )
    place_marks.lower(tx, from_ms={place_id: step_at(since) * STEP_MS})
    return row


def _forgotten_to(rows: Sequence[PlaceFilm]) -> int:
    """Return the step up to which dips were forgotten by a reset; −1 where none was."""
    resets = [step_at(row.since) for row in rows if row.source == FilmSource.RESET]
    return max(resets, default=-1)


def _is_pinned(rows: Sequence[PlaceFilm]) -> bool:
    return bool(rows) and rows[-1].source == FilmSource.PINNED


def _lesson(tx: Tx, dip: Measurement, *, place_id: int) -> Lesson | None:
    """Return what it takes to learn from a dip; None where it says nothing of a film."""
    events = effective(drum_rows.events_of(tx, drum_ids=[dip.drum_id])[dip.drum_id])
    here = next((e for e in events if e.id == dip.event_id), None)
    if here is None or here == first_measurement(events, receipt=events[0]):
        return None  # what set the start agrees with it by itself
    before = _known_before(tx, events[: events.index(here)])
    if _DISTURBING & {e.kind for e in events if before.at <= e.at < here.at}:
        return None
    since = step_at(before.at)
    work = load(tx, since={dip.drum_id: since * STEP_MS + 1}, now=moment_of(dip.step))
    task = next(task for task in work.tasks if task.drum.id == dip.drum_id)
    return Lesson(
        dip=dip,
        place_id=place_id,
        since=since,
        past=replace(
            task.past, events=[e for e in task.past.events if e.at <= here.at and e != here]
        ),
        places=work.places,
        density_kg_m3=task.product.properties.density_kg_m3,
    )


def _known_before(tx: Tx, events: Sequence[DrumEvent]) -> DrumEvent:
    """Return the last measurement by hand that was used, or the receipt."""
    measured = [event for event in events if event.kind in MEASURING]
    met = measurements.by_events(tx, event_ids=[event.id for event in measured])
    used = [e for e in measured if e.id in met and met[e.id].use != Use.REFUSED]
    return used[-1] if used else events[0]


def _evidence(lesson: Lesson) -> Evidence | None:
    dip = lesson.dip
    if dip.innovation_k is None or dip.expected_k is None:
        return None
    low, high = (_computed(lesson, log_shift=shift) for shift in (-_LOG_NUDGE, _LOG_NUDGE))
    return evidence_of(
        innovation_k=dip.innovation_k,
        expected_k=dip.expected_k,
        sigma_k=dip.sigma_k,
        sensitivity_k=(high - low) / (2.0 * _LOG_NUDGE),
        in_force=film_at(lesson.places[lesson.place_id].film, step=dip.step),
    )


def _computed(lesson: Lesson, *, log_shift: float) -> float:
    """Compute what the dip measured, had the film been another one since the one before."""
    place = lesson.places[lesson.place_id]
    factor = float(np.exp(log_shift))
    before = [film for film in place.film if film.step < lesson.since]
    now = film_at(place.film, step=lesson.since)
    after = [film for film in place.film if film.step > lesson.since]
    course = [
        *before,
        *(
            replace(film, factor=film.factor * factor)
            for film in (replace(now, step=lesson.since), *after)
        ),
    ]
    moved = {**lesson.places, lesson.place_id: replace(place, film=tuple(course))}
    states = advance_drums([lesson.past], places=moved, until=lesson.dip.step).states
    depth = depth_of(mass_kg=float(states["mass_kg"][0]), density_kg_m3=lesson.density_kg_m3)
    return float(height_row(lesson.dip.height_m, depth_m=depth) @ states["layers"][0, LIKELY])
