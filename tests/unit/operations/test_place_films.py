"""A place's film is learned from the dips of the drums there, pinned, and reset.

The truth is the same model with another film: it tells what thermometers would read there.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.film import FilmInForce, FilmSource
from drumkeep.domain.grid import step_at
from drumkeep.domain.liquid import advance_drums
from drumkeep.errors import Invalid
from drumkeep.operations import place_films
from drumkeep.operations.estimates import load
from drumkeep.operations.places import place_at
from drumkeep.scheduler import jobs
from drumkeep.storage import place_films as rows
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import LAYERS
from tests.fixtures.depot import Depot, at, depot, empty_depot, short_sight, steady, swinging

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")

TRUE_FACTOR = 1.3
STARTS_C = (4.0, 28.0, 9.0, 32.0)
DIPS_H = (8.0, 16.0, 24.0, 36.0)
NOISE_K = 0.2


def truth(depot: Depot, tags: Sequence[str], *, factor: float, hours: float) -> list[float]:
    """Temperatures at mid-depth of drums in the hall, had the hall this film all along."""
    with depot.looking() as tx:
        work = load(tx, since={depot.drum(tag).id: 0 for tag in tags}, now=at(hours))
    pasts = {task.drum.tag: task.past for task in work.tasks}
    untouched = [
        replace(past, events=[e for e in past.events if e.kind != "dipped"])
        for past in map(pasts.__getitem__, tags)
    ]
    hall = depot.places["hall"]
    film = (FilmInForce(step=min(past.start for past in untouched), factor=factor),)
    places = {**work.places, hall: replace(work.places[hall], film=film)}
    states = advance_drums(untouched, places=places, until=step_at(at(hours))).states
    middle = states["layers"][:, LIKELY, LAYERS // 2 - 1 : LAYERS // 2 + 1]
    return [float(c) for c in middle.mean(axis=1)]


def dipped(depot: Depot, *, factor: float, first_h: float, seed: int) -> None:
    """Let drums of several temperatures come into the hall and be dipped there for two days."""
    noise = np.random.default_rng(seed)
    tags = [depot.receive("hall", first_h, liquid_c=start) for start in STARTS_C]
    for when in (first_h + hours for hours in DIPS_H):
        for tag, c in zip(tags, truth(depot, tags, factor=factor, hours=when), strict=True):
            measured = c + noise.normal(0.0, NOISE_K)
            depot.record(tag, "dipped", when, c=round(measured, 2), sigma_k=NOISE_K)


def film(depot: Depot, hours: float, place: str = "hall") -> FilmInForce:
    """What is in force in a place."""
    with depot.looking() as tx:
        return place_films.film_now(rows.films_of(tx, place_id=depot.places[place]), now=at(hours))


def said(depot: Depot) -> list[str]:
    with depot.looking() as tx:
        return [row.source for row in rows.films_of(tx, place_id=depot.places["hall"])]


@pytest.fixture
def hall(depot):
    """Give a depot with a week of readings of its hall and its dock."""
    depot.send(
        {
            "hall": swinging(first_h=-48.0, last_h=150.0, mean=18.0, by=2.0, every_h=1.0),
            "dock": steady(12.0, first_h=-48.0, last_h=150.0, every_h=0.5),
        },
        now=150.0,
    )
    return depot


@pytest.mark.slow
def test_a_film_is_learned_from_dips_between_the_named_one_and_the_truth(hall):
    errors = []
    for night in range(2):
        dipped(hall, factor=TRUE_FACTOR, first_h=48.0 * night, seed=night)
        now = 48.0 * (night + 1)
        jobs.learn_films(hall.engine, at(now))
        found = film(hall, now + 0.2)
        errors.append(abs(np.log(found.factor / TRUE_FACTOR)))
        assert 1.05 < found.factor < TRUE_FACTOR + 0.05
        assert 1.08 <= found.half_range < 1.25
    assert errors[1] < errors[0] + 0.02
    assert errors[1] < 0.12
    hall.advance(97.0)
    hall.check_all(97.0)

    # Learned again from the same dips it stays where it is: what was learned is not learned twice.
    before = film(hall, 98.0)
    jobs.learn_films(hall.engine, at(98.0))
    assert film(hall, 99.0) == before

    with hall.writing() as tx:
        place = place_at(tx, site="north", code="hall")
        place_films.reset(tx, place=place, by="Mara", now=at(100.0))
    assert film(hall, 101.0).factor == 1.0
    jobs.learn_films(hall.engine, at(102.0))
    assert film(hall, 103.0).factor == 1.0
    assert said(hall)[-1] == FilmSource.RESET


def test_dips_in_a_place_of_the_named_film_leave_it_alone(hall):
    dipped(hall, factor=1.0, first_h=0.0, seed=5)
    jobs.learn_films(hall.engine, at(48.0))

    assert film(hall, 49.0).factor == pytest.approx(1.0, abs=0.06)


def test_a_pinned_film_holds_from_the_next_step_on_and_nothing_is_learned_over_it(hall):
    tag = hall.receive("hall", 0.0, liquid_c=4.0)
    hall.advance(10.0)
    untouched = hall.estimate(tag).mean_c
    with hall.writing() as tx:
        place = place_at(tx, site="north", code="hall")
        place_films.pin(tx, place=place, factor=2.0, half_range=None, by="Mara", now=at(10.0))
    hall.advance(10.0)
    assert hall.estimate(tag).mean_c == untouched

    hall.advance(20.0)
    hall.check_all(20.0)
    (as_named,) = truth(hall, [tag], factor=1.0, hours=20.0)
    (as_pinned,) = truth(hall, [tag], factor=2.0, hours=20.0)
    assert as_named + 0.5 < hall.estimate(tag).mean_c < as_pinned

    dipped(hall, factor=1.0, first_h=20.0, seed=3)
    jobs.learn_films(hall.engine, at(68.0))
    assert said(hall) == [FilmSource.PINNED]
    assert film(hall, 69.0).factor == 2.0


def test_a_dip_is_a_lesson_only_where_the_film_alone_lies_between(hall):
    def taught() -> int:
        with hall.looking() as tx:
            return len(place_films.lessons(tx, now=at(40.0)))

    plain = hall.receive("hall", 0.0, liquid_c=10.0)
    hall.record(plain, "dipped", 1.0, c=10.5)
    assert taught() == 1
    hall.record(plain, "dipped", 2.0, c=30.0)  # which is refused
    assert taught() == 1

    stirred = hall.receive("hall", 0.0, liquid_c=10.0)
    hall.record(stirred, "agitated", 0.5, minutes=10.0)
    hall.record(stirred, "dipped", 1.0, c=10.5)
    unmeasured = hall.receive("hall", 0.0, liquid_c=None, origin="dock")
    hall.record(unmeasured, "dipped", 1.0, c=12.0)  # which may set its start
    assert taught() == 1
    with hall.writing() as tx:
        place = place_at(tx, site="north", code="hall")
        place_films.reset(tx, place=place, by="Mara", now=at(40.0))
    assert taught() == 0


def test_a_film_narrows_the_band_of_the_drums_there(hall):
    tag = hall.receive("hall", 0.0, liquid_c=4.0)
    hall.advance(20.0)
    wide = hall.estimate(tag)
    other = hall.receive("hall", 20.0, liquid_c=4.0)
    with hall.writing() as tx:
        place = place_at(tx, site="north", code="hall")
        place_films.pin(tx, place=place, factor=1.0, half_range=1.08, by="Mara", now=at(20.0))
    hall.advance(40.0)
    narrow = hall.estimate(other)

    assert narrow.mean_high_c - narrow.mean_low_c < wide.mean_high_c - wide.mean_low_c


@pytest.mark.parametrize(
    ("factor", "half_range", "name"),
    [(0.1, None, "factor"), (9.0, None, "factor"), (1.0, 1.0, "half_range")],
)
def test_a_film_that_cannot_be_is_refused(hall, factor, half_range, name):
    with hall.writing() as tx:
        place = place_at(tx, site="north", code="hall")
        with pytest.raises(Invalid) as refused:
            place_films.pin(
                tx, place=place, factor=factor, half_range=half_range, by="Mara", now=at(1.0)
            )
    assert [fault.field for fault in refused.value.faults] == [name]
