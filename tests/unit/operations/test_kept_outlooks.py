"""Outlooks that are kept for their quarter of an hour say what a look ahead anew would say."""

from dataclasses import dataclass, field, replace
from datetime import timedelta

import pytest

from drumkeep.domain.grid import moment_of, step_at
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.products import OutputClass
from drumkeep.operations import kept_outlooks
from drumkeep.operations.days_ahead import AirsAhead
from drumkeep.operations.estimates import Work, load
from drumkeep.operations.ground import Ground
from drumkeep.operations.kept_outlooks import KeptOutlooks
from drumkeep.operations.outlooks import look_ahead
from drumkeep.operations.verdicts import Known
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.catalogue import Place
from tests.fixtures.depot import at, empty_depot, short_sight, swinging

__all__ = ["empty_depot", "short_sight"]

APART = timedelta(minutes=25)
"""Two forecast steps less one of ours: kept times lie on another grid, and 0.1 K takes its time."""

LOWEST_K = 0.2


@dataclass
class Days:
    """Two days of a depot, loaded once: what its drums' outlooks hang on at any step of them."""

    work: Work
    kept: KeptOutlooks = field(default_factory=KeptOutlooks)

    def look(self, step, *, change=None, how=None):
        """Look ahead at a step; ``change`` alters a copy of what is looked at."""
        tasks = self.work.tasks
        pasts = [task.past for task in tasks]
        looked = Looked(
            drums=[
                Known(drum_id=t.drum.id, product=t.product, facts=t.facts, share=t.drum.share)
                for t in tasks
            ],
            states=advance_drums(pasts, places=self.work.places, until=step).states,
            places=dict(self.work.places),
            premises=self.work.ground,
        )
        if change is not None:
            change(looked)
        return (how or self.kept.look_ahead)(
            looked.drums,
            states=looked.states,
            airs=AirsAhead(looked.places, step),
            premises=looked.premises,
            now=moment_of(step),
        )


@dataclass
class Looked:
    drums: list[Known]
    states: LiquidStates
    places: dict[int, PlaceHeat]
    premises: Ground

    def change_drums(self, **how):
        self.drums = [replace(one, **how) for one in self.drums]

    def change_facts(self, **how):
        self.drums = [replace(one, facts=replace(one.facts, **how)) for one in self.drums]

    def change_places(self, **how):
        self.places = {key: replace(heat, **how) for key, heat in self.places.items()}

    def warm_air(self, by_k):
        self.places = {
            key: replace(heat, air=replace(heat.air, likely=heat.air.likely + by_k))
            for key, heat in self.places.items()
        }

    def set_points(self, by_k):
        """Change the rows on copies: the places are shared by all tests of a module."""
        places = {key: Place(**place.model_dump()) for key, place in self.premises.places.items()}
        for place in places.values():
            if place.set_point_c is not None:
                place.set_point_c += by_k
        self.premises = replace(self.premises, places=places)


@pytest.fixture(scope="module")
def work(empty_depot, tmp_path_factory):
    """Give two days; at noon of the second a front comes: outside it falls by 12 K in 30 min."""
    with empty_depot.copy(tmp_path_factory.mktemp("depot")) as depot:
        return two_days(depot)


@pytest.fixture
def days(work):
    return Days(work)


def two_days(depot):
    mild = swinging(first_h=-26.0, last_h=50.0, mean=12.0, by=3.0, every_h=0.5)
    front = {h: c - 12.0 * min(max((h - 36.0) / 0.5, 0.0), 1.0) for h, c in mild.items()}
    room = swinging(first_h=-26.0, last_h=50.0, mean=27.0, by=0.4, every_h=0.5)
    depot.send({"hall": mild, "room": room, "van": front, "dock": front}, now=50.0)
    for place, hours in {"hall": 0.0, "van": 1.0, "dock": 24.0, "room": 25.0}.items():
        depot.receive(place, hours, liquid_c=14.0, recorded=50.0)
    with depot.looking() as tx:
        ids = drum_rows.present_ids(tx)
        return load(tx, since=dict.fromkeys(ids, 0), now=at(50.0))


@pytest.fixture
def looked(monkeypatch):
    """Count the drums that are looked ahead for at each look."""
    counts = []

    def counted(drums, **how):
        counts.append(len(drums))
        return look_ahead(drums, **how)

    monkeypatch.setattr(kept_outlooks, "look_ahead", counted)
    return counts


def times_of(outlook):
    """Return every time of an outlook by a name."""
    return {
        "seeds": outlook.seeds_at,
        "may seed": outlook.maybe_seeds_at,
        **{
            f"{output} {name}": getattr(outlook.ahead[output], name)
            for output in OutputClass
            for name in (
                "ready_at",
                "ready_from",
                "mixed_at",
                "ready_in_warm_room_at",
                "ready_in_warm_room_from",
            )
        },
    }


def test_over_a_day_on_which_the_weather_turns_it_says_what_a_new_look_says(days, looked):
    for hour in (31.0, 36.2):
        for step in range(step_at(at(hour)), step_at(at(hour)) + 3):
            for kept, fresh in zip(days.look(step), days.look(step, how=look_ahead), strict=True):
                assert kept.lowest_c == pytest.approx(fresh.lowest_c, abs=LOWEST_K)
                again = times_of(fresh)
                for name, said in times_of(kept).items():
                    assert (said is None) == (again[name] is None), name
                    assert said is None or abs(said - again[name]) <= APART, name
                    assert said is None or said >= moment_of(step), name
    # of four drums: all, and then each at the turn of its place; while the air falls those outside
    assert sum(looked[1:3]) <= 4
    assert max(looked[4:6]) >= 2


@pytest.mark.usefixtures("short_sight")
def test_in_steady_air_each_drum_is_looked_ahead_for_once_a_quarter_of_an_hour(days, looked):
    first = step_at(at(30.0))
    for step in range(first, first + 7):
        days.look(step)

    assert looked[0] == 4
    assert sum(looked[1:4]) == sum(looked[4:7]) == 4


@pytest.mark.usefixtures("short_sight")
def test_a_step_that_was_looked_at_is_not_looked_at_again(days, looked):
    step = step_at(at(30.0))
    first, second = days.look(step), days.look(step)

    assert looked == [4, 0]
    assert [one.as_json() for one in second] == [one.as_json() for one in first]


@pytest.mark.usefixtures("short_sight")
def test_after_a_break_all_are_looked_ahead_for(days, looked):
    days.look(step_at(at(30.0)))
    days.look(step_at(at(30.5)))

    assert looked == [4, 4]


CHANGES = {
    "wanted": lambda one: one.change_facts(wanted_at=at(60.0)),
    "another share of the side": lambda one: one.change_drums(share=0.6),
    "another product": lambda one: one.change_drums(
        product=replace(
            one.drums[0].product, limits=replace(one.drums[0].product.limits, seed_c=11.0)
        )
    ),
    "liquid warmer than was said": lambda one: one.states["layers"].__iadd__(0.3),
    "more doubt": lambda one: one.states["doubt_k"].__iadd__(0.5),
    "liquid taken out": lambda one: one.states["mass_kg"].__isub__(5.0),
    "a heater": lambda one: one.states["heat_w"].__iadd__(500.0),
    "air that turned": lambda one: one.warm_air(1.0),
    "another setting": lambda one: one.change_places(
        setting=replace(one.places[one.drums[0].facts.place].setting, motion="windy")
    ),
    "another set point": lambda one: one.set_points(3.0),
}


@pytest.mark.usefixtures("short_sight")
@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_changes_is_seen_at_once(days, looked, change):
    step = step_at(at(30.0))
    days.look(step)
    days.look(step)  # nothing is looked ahead for again
    told = days.look(step, change=change)

    assert looked == [4, 0, 4]
    assert [one.as_json() for one in told] == [
        one.as_json() for one in days.look(step, change=change, how=look_ahead)
    ]


@pytest.mark.usefixtures("short_sight")
def test_where_the_air_is_no_longer_known_it_is_seen_but_a_warm_room_keeps_its_set_point(
    days, looked
):
    step = step_at(at(30.0))
    days.look(step)
    days.look(step, change=lambda one: one.warm_air(float("nan")))

    assert looked == [4, 3]
