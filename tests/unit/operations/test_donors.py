"""Drums whose liquid was poured on come out the same however their past came in.

Expected states are the same code's over the whole past at once, drums together; the reckoning of a
pour itself is tested in ``tests/unit/domain/test_liquid_pours.py``.
"""

from datetime import timedelta

import numpy as np
import pytest

from drumkeep.domain.grid import step_at
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import Solids
from drumkeep.domain.products import Side, default_product
from drumkeep.operations import lots
from drumkeep.operations.due import due
from drumkeep.operations.estimates import compute, load, store
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.thermal.parameter_sets import LIKELY
from tests.fixtures.depot import (
    BEGIN,
    MANAGER,
    at,
    check_same,
    depot,
    empty_depot,
    short_sight,
    steady,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


@pytest.fixture
def late(empty_depot, tmp_path_factory):
    with empty_depot.copy(tmp_path_factory.mktemp("late")) as found:
        yield found


# Dates


def test_a_lots_corrected_date_reaches_the_drum_that_its_liquid_went_into(depot):
    depot.night()
    with depot.writing() as tx:
        made_on = BEGIN.date() - timedelta(days=20)
        lots.create_lot(tx, product="iso", code="old", made_on=made_on, now=BEGIN)
        receipt = Receipt(
            event_id=depot.fresh_id(),
            product="iso",
            lot="old",
            place=depot.places["hall"],
            at=at(0.0),
            liquid_c=20.0,
        )
        old = receive_drums(tx, receipts=[receipt], by=MANAGER, now=at(0.0))[0].tag
    receiver = depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(old, "decanted", 1.0, kg=5.0, to=receiver)
    assert depot.state(receiver)["mixed_lots"][0]

    with depot.writing() as tx:
        changes: lots.LotChanges = {"made_on": BEGIN.date() - timedelta(days=150)}
        lots.change_lot(tx, product="iso", code="old", changes=changes, now=at(2.0))
    depot.advance(2.0)

    state = depot.state(receiver)
    age = age_of(state, product=default_product(Side.ISO), step=step_at(at(2.0)))
    assert age.days == pytest.approx(150.0, abs=1.0)
    depot.check_all(2.0)


# Computed together, in any order


def story(depot, *, late):
    """Pour cold liquid on, twice over, into a third drum; in time, or all of it told at the end."""
    air = {
        "van": steady(-12.0, first_h=-48.0, last_h=12.0),
        "hall": steady(18.0, first_h=-48.0, last_h=12.0),
    }
    if not late:
        depot.send(air, now=12.0)

    def told(hours):
        return 12.0 if late else hours

    first, second, third = (
        depot.receive("hall", 0.0, liquid_c=20.0, net_kg=kg) for kg in (240.0, 120.0, 60.0)
    )
    for hours in (1.0, 2.0, 5.0, 8.0):
        depot.advance(hours)
    depot.record(second, "decanted", 8.0, kg=50.0, to=third)
    depot.advance(9.0)
    depot.advance(10.0)
    depot.record(first, "moved", 1.0, recorded=told(10.0), to="van")
    depot.record(first, "decanted", 6.0, recorded=told(10.5), kg=80.0, to=second)
    if late:
        depot.send(air, now=12.0)
    depot.advance(12.0)
    return first, second, third


def test_a_donors_corrected_past_reaches_every_drum_that_its_liquid_went_into(depot, late):
    intime, tardy = story(depot, late=False), story(late, late=True)

    for one, other in zip(intime, tardy, strict=True):
        check_same(late.state(other), depot.state(one))
    depot.check_all(12.0)
    late.check_all(12.0)
    # it was cold enough in the van to tell
    bottom = [float(depot.state(tag)["layers"][0, LIKELY, 0]) for tag in intime]
    assert bottom[0] < 8.0
    states = [depot.state(tag)[0] for tag in intime]
    assert states[0]["cold_total_steps"] > 0
    assert states[2]["coldest_c"] == pytest.approx(states[1]["coldest_c"])


def test_solids_seen_later_in_the_donor_are_in_the_receiver_too(depot):
    depot.night()
    donor, receiver = depot.receive("hall", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(donor, "decanted", 4.0, kg=30.0, to=receiver)
    depot.advance(6.0)
    assert depot.state(receiver)["solids"][0] == Solids.NONE

    look = {"reached_bottom": True, "solids": "seen"}
    depot.record(donor, "inspected", 3.0, recorded=6.0, **look)

    assert depot.state(receiver)["solids"][0] == Solids.SEEN
    assert "solids_suspected" in depot.estimate(receiver).conditions
    depot.check_all(6.0)
    depot.record(donor, "inspected", 5.0, recorded=7.0, **look)  # after the pour
    depot.advance(7.0)
    depot.check_all(7.0)


def test_late_readings_of_the_donors_place_reach_the_receiver(depot):
    depot.night(hours=1.0)
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.send({"hall": steady(18.0, first_h=1.25, last_h=8.0)}, now=8.0)
    depot.record(donor, "decanted", 5.0, recorded=8.0, kg=100.0, to=receiver)
    depot.advance(8.0)
    before = depot.estimate(receiver).mean_c

    depot.send({"van": steady(-15.0, first_h=1.25, last_h=5.0)}, now=8.5)
    depot.advance(8.5)

    assert depot.estimate(receiver).mean_c < before - 1.0
    depot.check_all(8.5)


def test_drums_computed_in_separate_portions_agree_with_their_donors(depot):
    depot.night(hours=1.0)
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.send({"hall": steady(18.0, first_h=1.25, last_h=8.0)}, now=8.0)
    depot.record(donor, "decanted", 5.0, recorded=8.0, kg=100.0, to=receiver)
    depot.advance(8.0)
    depot.send({"van": steady(-15.0, first_h=1.25, last_h=5.0)}, now=8.5)

    with depot.looking() as tx:
        waiting = due(tx, now=at(8.5))
    since = waiting.since
    assert since[depot.drum(receiver).id] is not None
    for tag in (receiver, donor):  # the receiver first: its donor's checkpoints are stale still
        number = depot.drum(tag).id
        part = {number: since[number]}
        with depot.looking() as tx:
            work = load(tx, since=part, now=at(8.5), others=since)
        assert [task.due for task in work.tasks].count(True) == 1
        with depot.writing() as tx:
            assert store(tx, outcome=compute(work)) == 1
    assert waiting.marks
    depot.check_all(8.5)


def test_a_donor_that_an_event_changed_meanwhile_is_not_believed_for_long(depot):
    depot.night()
    donor, receiver = depot.receive("hall", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(donor, "decanted", 4.0, kg=100.0, to=receiver)
    depot.record(receiver, "dipped", 3.0, recorded=5.0, c=19.0)  # has it computed from before
    with depot.looking() as tx:
        number = depot.drum(receiver).id
        work = load(tx, since={number: 0}, now=at(6.0))
    depot.record(donor, "moved", 1.0, recorded=5.5, to="van")
    outcome = compute(work)
    with depot.writing() as tx:
        store(tx, outcome=outcome)

    depot.advance(6.0)

    depot.check_all(6.0)


def test_a_first_measurement_after_a_pour_sets_the_start_with_what_was_poured_in(depot):
    depot.night()
    donor = depot.receive("van", 0.0, liquid_c=5.0)
    receiver = depot.receive("hall", 0.0, liquid_c=None, origin="dock", net_kg=100.0)
    depot.record(donor, "decanted", 2.0, kg=100.0, to=receiver)
    depot.record(receiver, "dipped", 5.0, c=12.0, sigma_k=0.2)
    depot.advance(6.0)

    depot.check_all(6.0)
    assert depot.state(receiver)["resolved"][0]
    depot.record(donor, "dipped", 1.0, recorded=7.0, c=2.0)
    depot.check_all(7.0)


def test_drums_poured_into_each_other_and_back_come_out_the_same(depot):
    depot.night()
    one, two = (depot.receive("hall", 0.0, liquid_c=c, net_kg=120.0) for c in (25.0, 15.0))
    depot.record(one, "decanted", 1.0, kg=40.0, to=two)
    depot.record(two, "decanted", 1.05, recorded=2.0, kg=60.0, to=one)
    depot.record(one, "decanted", 1.06, recorded=2.0, kg=20.0, to=two)
    depot.advance(3.0)

    depot.check_all(3.0)
    total = sum(float(depot.state(tag)["mass_kg"][0]) for tag in (one, two))
    assert total == 240.0
    depot.record(one, "dipped", 0.5, recorded=4.0, c=26.0)
    depot.check_all(4.0)


def test_no_heat_is_lost_when_drums_are_poured_together(depot):
    depot.night()
    one, two = (depot.receive("hall", 0.0, liquid_c=c, net_kg=120.0) for c in (25.0, 15.0))
    before = [depot.state(tag) for tag in (one, two)]
    depot.record(one, "decanted", 0.0, kg=40.0, to=two)
    after = [depot.state(tag) for tag in (one, two)]

    def heat(states):
        return sum(s["mass_kg"][0] * s["layers"][0, LIKELY].mean() for s in states)

    assert heat(after) == pytest.approx(heat(before))
    assert np.all(np.diff(after[1]["layers"][0, LIKELY]) >= 0.0)
    assert after[1]["layers"][0, LIKELY].mean() == pytest.approx(17.5)
