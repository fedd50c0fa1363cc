"""What is stored of a drum is its whole past computed anew, however its pieces arrived.

Expected values are the same code's over the whole past at once, which the reference and unit tests
hold to published curves; what is checked here is that no order of arrival changes it.
"""

import random

import pytest

from drumkeep.domain.liquid_state import Solids
from drumkeep.operations.due import due
from drumkeep.operations.estimates import compute, load, store
from drumkeep.operations.products import change_product
from drumkeep.scheduler import rounds
from drumkeep.storage import place_marks
from tests.fixtures.depot import (
    MEASURED,
    at,
    check_same,
    depot,
    empty_depot,
    short_sight,
    steady,
    swinging,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]


# However readings arrive


@pytest.fixture
def late(empty_depot, tmp_path_factory):
    with empty_depot.copy(tmp_path_factory.mktemp("late")) as found:
        yield found


def test_readings_in_time_and_readings_late_and_shuffled_give_the_same(depot, late):
    curves = {
        "van": swinging(first_h=-3.0, last_h=4.0, mean=-2.0, by=8.0, every_h=0.5),
        "dock": swinging(first_h=-3.0, last_h=4.0, mean=12.0, by=6.0, every_h=0.5),
        "hall": steady(18.0, first_h=-3.0, last_h=4.0, every_h=0.5),
    }

    def received(into):
        return [
            into.receive("van", 0.0, liquid_c=21.0),
            into.receive("van", 0.0, side="resin", liquid_c=None),
            into.receive("hall", 0.0, liquid_c=None, origin="dock"),
        ]

    tags = []
    for hours in curves["van"]:
        depot.send({name: {hours: curve[hours]} for name, curve in curves.items()}, now=hours)
        if hours == 0.0:
            tags = received(depot)
        if hours == 2.0:
            depot.record(tags[2], "moved", hours, to="van")
        depot.advance(hours)

    tardy = received(late)
    late.advance(2.0)
    readings = [(name, hours, c) for name, curve in curves.items() for hours, c in curve.items()]
    random.Random(5).shuffle(readings)  # noqa: S311 - no secret
    for number, (name, hours, c) in enumerate(readings):
        late.send({name: {hours: c}}, now=4.0)
        if number % 15 == 0:
            late.advance(4.0)
        if number == 20:
            late.record(tardy[2], "moved", 2.0, recorded=4.0, to="van")
    late.advance(4.0)

    for one, other in zip(tags, tardy, strict=True):
        check_same(late.state(other), depot.state(one))
    depot.check_all(4.0)


def test_a_gap_that_is_filled_later_leaves_no_trace(depot):
    depot.night(hours=1.0)
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    for hours in (2.0, 4.0, 9.0):
        depot.advance(hours)
    assert depot.estimate(tag).basis == "unsupported"

    depot.send({"van": swinging(first_h=1.25, last_h=9.0, mean=-2.0, by=8.0)}, now=9.0)
    depot.advance(9.0)

    assert depot.estimate(tag).basis == "modelled"
    depot.check_all(9.0)


def test_air_that_is_heard_of_for_the_first_time_does_not_change_what_was_before(depot):
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    depot.advance(3.0)
    before = depot.estimate(tag)
    assert before.mean_c == pytest.approx(21.0)

    depot.send({"van": steady(-10.0, first_h=3.0, last_h=5.0)}, now=5.0)
    depot.advance(5.0)

    depot.check_all(5.0)
    assert depot.estimate(tag).mean_c < 21.0


def test_a_reading_from_a_clock_that_is_ahead_counts_the_same_before_and_after_its_time(depot):
    depot.night(hours=5.75)
    depot.receive("van", 0.0, liquid_c=21.0)
    depot.send({"van": {6.1: 15.0}}, now=6.0)
    depot.advance(6.0)
    depot.advance(7.0)

    depot.check_all(7.0)


# However events are recorded


def test_a_move_recorded_hours_later_equals_a_recomputation(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=21.0)
    other = depot.receive("hall", 0.0, liquid_c=21.0)
    depot.advance(10.0)
    stayed = depot.estimate(tag).bottom_c

    depot.record(tag, "moved", 2.0, recorded=10.0, to="van")

    assert depot.estimate(tag).bottom_c < stayed - 5.0
    assert depot.estimate(other).bottom_c == pytest.approx(stayed)
    depot.check_all(10.0)
    depot.advance(10.5)
    depot.check_all(10.5)


def test_a_correction_of_time_place_or_figure_equals_a_recomputation(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=21.0)
    moved = depot.record(tag, "moved", 2.0, to="van")
    dipped = depot.record(tag, "dipped", 5.0, c=9.0)
    depot.advance(9.0)

    for hours, correction in (
        (9.0, {"event": moved, "to": 1.0}),
        (9.5, {"event": dipped, "c": 12.0}),
        (10.0, {"event": moved, "to": 6.0}),
        (10.5, {"event": dipped, "void": True}),
        (11.0, {"event": moved, "void": True}),
    ):
        before = depot.estimate(tag).mean_c
        depot.correct(tag=tag, recorded=hours, **correction)
        assert depot.estimate(tag).mean_c != pytest.approx(before, abs=0.05), correction
        depot.check_all(hours)


def test_a_corrected_receipt_starts_the_drum_elsewhere(depot):
    depot.night()
    tag = depot.receive("hall", 4.0, liquid_c=21.0)
    depot.advance(8.0)
    van = depot.places["van"]

    depot.correct(depot.receipt(tag), tag, recorded=8.0, to=1.0, place=van, net_kg=100.0)

    drum = depot.drum(tag)
    assert (drum.place_id, drum.net_kg, drum.received_at) == (van, 100.0, at(1.0))
    depot.check_all(8.0)


@pytest.mark.parametrize("kind", ["dipped", "skin"])
def test_a_first_measurement_sets_the_start_from_the_air_as_it_is_known_at_last(depot, kind):
    depot.send(
        {
            "dock": swinging(first_h=-48.0, last_h=0.0, mean=10.0, by=9.0),
            "van": steady(0.0, first_h=-1.0, last_h=1.0),
        },
        now=1.0,
    )
    tag = depot.receive("van", 0.0, liquid_c=None, origin="dock")
    depot.advance(1.0)
    depot.send({"van": steady(0.0, first_h=4.0, last_h=6.0)}, now=6.0)
    depot.record(tag, kind, 6.0, c=12.0)
    depot.advance(8.0)
    depot.check_all(8.0)

    # Between the receipt and the measurement: it changes what the measurement says of the start.
    depot.send({"van": steady(-15.0, first_h=1.5, last_h=3.5)}, now=8.0)
    depot.advance(8.0)

    depot.check_all(8.0)
    heater = {"device": "belt", "watts": 800.0, "until": at(5.0).isoformat()}
    depot.record(tag, "heated", 2.0, recorded=8.5, **heater)
    depot.check_all(8.5)


def test_memory_follows_a_corrected_past(depot):
    depot.night(hours=0.0)
    depot.send({"van": steady(-12.0, first_h=0.25, last_h=24.0)}, now=24.0)
    tag = depot.receive("van", 0.0, liquid_c=18.0)
    depot.advance(24.0)
    state = depot.state(tag)
    assert state["solids"][0] == Solids.SUSPECTED
    assert state["cold_total_steps"][0] > 24

    depot.record(tag, "moved", 0.5, recorded=24.0, to="hall")
    depot.send({"hall": steady(18.0, first_h=0.25, last_h=24.0)}, now=24.0)
    depot.advance(24.0)

    assert depot.state(tag)["solids"][0] == Solids.NONE
    assert depot.state(tag)["cold_total_steps"][0] == 0


# Between loading and storing


def test_a_drum_that_an_event_changed_meanwhile_is_left_for_the_next_computation(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=21.0)
    other = depot.receive("hall", 0.0, liquid_c=21.0)
    with depot.looking() as tx:
        work = load(tx, since=due(tx, now=at(8.0)).since, now=at(8.0))
    depot.record(tag, "moved", 1.0, recorded=7.9, to="van")
    moved = depot.estimate(tag)
    outcome = compute(work)

    with depot.writing() as tx:
        assert store(tx, outcome=outcome) == 1

    assert depot.estimate(tag).step == moved.step
    assert depot.estimate(tag).mean_c == moved.mean_c
    assert depot.estimate(other).step > moved.step
    assert depot.drum(tag).from_ms is not None
    depot.advance(8.0)
    assert depot.drum(tag).from_ms is None
    depot.check_all(8.0)


def test_a_product_changed_meanwhile_is_not_stored_over(depot):
    depot.night()
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    with depot.looking() as tx:
        work = load(tx, since=due(tx, now=at(8.0)).since, now=at(8.0))
    with depot.writing() as tx:
        change_product(tx, code="iso", changes={"properties": {"specific_heat_j_kgk": 2600.0}})
    outcome = compute(work)

    with depot.writing() as tx:
        assert store(tx, outcome=outcome) == 0
    depot.advance(8.0)

    assert depot.estimate(tag).mean_c is not None
    depot.check_all(8.0)


def test_a_place_stays_marked_until_its_drums_are_stored(depot, monkeypatch):
    depot.night()
    depot.receive("hall", 0.0, liquid_c=21.0)
    with depot.looking() as tx:
        assert {m.place_id for m in place_marks.standing(tx)} == {depot.places[p] for p in MEASURED}

    def compute_and_hear(work, **how):
        depot.send({"hall": {8.0 + 1 / 60: 5.0}}, now=8.0)
        return compute(work, **how)

    with monkeypatch.context() as patch:
        patch.setattr(rounds, "compute", compute_and_hear)
        depot.advance(8.0)

    with depot.looking() as tx:
        assert [m.place_id for m in place_marks.standing(tx)] == [depot.places["hall"]]
    depot.advance(9.0)
    with depot.looking() as tx:
        assert not place_marks.standing(tx)
    depot.check_all(9.0)


def test_a_crash_between_computing_and_storing_loses_no_mark(depot, monkeypatch):
    depot.night()
    depot.receive("hall", 0.0, liquid_c=21.0)

    def crash(*_args, **_more):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(rounds, "store", crash)
        with pytest.raises(KeyboardInterrupt):
            depot.advance(8.0)
    with depot.looking() as tx:
        assert len(place_marks.standing(tx)) == len(MEASURED)
    depot.advance(8.0)

    depot.check_all(8.0)


def test_computed_twice_at_one_moment_nothing_changes(depot):
    depot.night()
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    depot.advance(8.0)
    with depot.looking() as tx:
        waiting = due(tx, now=at(8.0))
        assert (waiting.since, waiting.marks) == ({}, [])
    stored = depot.estimate(tag)

    depot.advance(8.0)

    assert depot.estimate(tag).computed_at == stored.computed_at
    with depot.looking() as tx:
        waiting = due(tx, now=at(8.1))
        assert (waiting.since, waiting.marks) == ({depot.drum(tag).id: None}, [])


def test_a_drum_gone_is_computed_no_further_but_its_past_still_is(depot):
    depot.night()
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    depot.advance(4.0)
    depot.record(tag, "emptied", 4.0)
    gone = depot.estimate(tag)
    depot.advance(6.0)
    assert depot.estimate(tag).step == gone.step

    depot.send({"van": {1.1: 30.0}}, now=6.0)
    depot.advance(6.0)
    depot.check_all(6.0)
