"""Liquid poured from drum to drum: on record with both, and the same however its past came in.

Expected states are the same code's over the whole past at once, drums together; the reckoning of a
pour itself is tested in ``tests/unit/domain/test_liquid_pours.py``.
"""

from datetime import timedelta

import numpy as np
import pytest
from sqlmodel import select

from drumkeep.domain.events import EventKind
from drumkeep.domain.grid import step_at
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import Solids
from drumkeep.domain.products import Side, default_product
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations import lots, products
from drumkeep.operations.drums import Happening, record_event
from drumkeep.operations.estimates import compute, due, load, store
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.drums import Event
from drumkeep.thermal.parameter_sets import LIKELY
from tests.fixtures.depot import (
    BEGIN,
    MANAGER,
    at,
    check_same,
    copy_of,
    depot,
    empty_depot,
    short_sight,
    steady,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


@pytest.fixture
def late(empty_depot, tmp_path_factory):
    with copy_of(empty_depot, tmp_path_factory.mktemp("late")) as found:
        yield found


def log(depot, tag):
    with depot.looking() as tx:
        return [
            (event.kind, event.data)
            for event in drum_rows.event_rows(tx, drum_id=depot.drum(tag).id)
            if event.kind != "received"
        ]


def refusal(depot, kind, *args, **data):
    with pytest.raises((Invalid, Conflict)) as refused:
        depot.record(*args, kind, **data)
    return refused.value


# On record with both


def test_what_is_decanted_from_one_drum_tops_the_other(depot):
    depot.night()
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    poured = depot.record(donor, "decanted", 2.0, kg=60.0, to=receiver)

    assert log(depot, donor) == [("decanted", {"kg": 60.0, "to": receiver})]
    assert log(depot, receiver) == [("topped", {"kg": 60.0, "from": donor, "pour": str(poured)})]
    assert (depot.drum(donor).net_kg, depot.drum(receiver).net_kg) == (190.0, 160.0)
    assert depot.state(receiver)["mass_kg"][0] == 160.0
    depot.check_all(2.0)


def test_what_tops_one_drum_is_decanted_from_the_other(depot):
    depot.night()
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    poured = depot.record(receiver, "topped", 2.0, kg=60.0, **{"from": donor})

    assert log(depot, donor) == [("decanted", {"kg": 60.0, "to": receiver, "pour": str(poured)})]
    assert log(depot, receiver) == [("topped", {"kg": 60.0, "from": donor})]
    depot.check_all(2.0)


def test_a_pour_sent_again_is_recorded_once_with_each(depot):
    depot.night()
    donor, receiver = depot.receive("hall", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(donor, "held", 0.5, reason="a dent")
    happening = Happening(
        event_id=depot.fresh_id(),
        kind=EventKind.TOPPED,
        at=at(1.0),
        data={"kg": 20.0, "from": donor},
    )
    for now in (1.0, 1.5):
        with depot.writing() as tx:
            record_event(tx, tag=receiver, happening=happening, by=MANAGER, now=at(now))
        if now == 1.0:
            depot.record(donor, "released", 1.2, reason="an old dent")

    with depot.looking() as tx:
        kinds = [row.kind for row in tx.session.exec(select(Event)).all()]
    assert (kinds.count("topped"), kinds.count("decanted")) == (1, 1)


@pytest.mark.parametrize(("kind", "name"), [("decanted", "to"), ("topped", "from")])
def test_a_is_never_poured_into_b(depot, kind, name):
    depot.night()
    iso, resin = depot.receive("hall", 0.0), depot.receive("hall", 0.0, side="resin", net_kg=50.0)
    for tag, other in ((iso, resin), (resin, iso)):
        told = refusal(depot, kind, tag, hours=1.0, kg=5.0, **{name: other})
        assert "NEVER" in str(told)
        assert (told.faults[0].field, told.faults[0].value) == (name, other)

    assert log(depot, iso) == log(depot, resin) == []


def test_what_the_other_drum_does_not_allow_is_refused_and_leaves_nothing(depot):
    depot.night()
    donor, full = depot.receive("hall", 0.0), depot.receive("hall", 0.0)
    later = depot.receive("hall", 3.0, net_kg=50.0, recorded=3.0)
    gone = depot.receive("hall", 0.0, net_kg=50.0)
    depot.record(gone, "emptied", 1.0)
    for kind, name, tag, other, kg, field in (
        ("decanted", "to", donor, full, 20.0, "kg"),
        ("topped", "from", full, gone, 2.0, "kind"),
        ("decanted", "to", donor, later, 2.0, "at"),
        ("topped", "from", donor, later, 2.0, "at"),
    ):
        told = refusal(depot, kind, tag, hours=2.0, recorded=4.0, kg=kg, **{name: other})
        assert (told.faults[0].field, other in told.faults[0].problem) == (field, True)

    assert log(depot, donor) == log(depot, full) == log(depot, later) == []


# Corrections


def test_a_corrected_pour_is_corrected_with_both_drums(depot):
    depot.night()
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    poured = depot.record(donor, "decanted", 2.0, kg=60.0, to=receiver)
    depot.advance(3.0)

    depot.correct(poured, donor, recorded=3.0, kg=40.0, to=2.5)
    assert (depot.drum(donor).net_kg, depot.drum(receiver).net_kg) == (210.0, 140.0)
    depot.check_all(3.0)

    with depot.looking() as tx:
        twin = next(
            row
            for row in drum_rows.event_rows(tx, drum_id=depot.drum(receiver).id)
            if row.kind == "topped"
        ).id
    depot.correct(twin, receiver, recorded=3.5, kg=30.0)
    assert (depot.drum(donor).net_kg, depot.drum(receiver).net_kg) == (220.0, 130.0)
    depot.check_all(3.5)

    depot.correct(twin, receiver, recorded=4.0, void=True)
    assert (depot.drum(donor).net_kg, depot.drum(receiver).net_kg) == (250.0, 100.0)
    depot.check_all(4.0)


def test_a_correction_that_one_of_both_drums_denies_is_refused(depot):
    depot.night()
    donor, receiver = depot.receive("van", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    poured = depot.record(donor, "decanted", 2.0, kg=60.0, to=receiver)

    with pytest.raises(Invalid) as refused:
        depot.correct(poured, donor, recorded=3.0, kg=200.0)
    assert receiver in refused.value.faults[0].problem
    assert depot.drum(donor).net_kg == 190.0


def test_a_pour_is_not_turned_to_another_drum(depot):
    depot.night()
    donor, receiver, third = (depot.receive("hall", 0.0, net_kg=90.0) for _ in range(3))
    poured = depot.record(donor, "decanted", 2.0, kg=60.0, to=receiver)

    happening = Happening(
        event_id=depot.fresh_id(),
        kind=EventKind.CORRECTED,
        at=at(3.0),
        data={"event": str(poured), "data": {"to": third}},
    )
    with pytest.raises(Invalid) as refused, depot.writing() as tx:
        record_event(tx, tag=donor, happening=happening, by=MANAGER, now=at(3.0))
    assert refused.value.faults[0].field == "to"


# What is not to be mixed


def other_product(depot):
    """A second product of iso, with a lot of its own."""
    with depot.writing() as tx:
        products.create_product(tx, code="iso-winter", name="Winter iso", side="iso")
        lots.create_lot(tx, product="iso-winter", code="77", made_on=BEGIN.date(), now=BEGIN)
        receipt = Receipt(
            event_id=depot.fresh_id(),
            product="iso-winter",
            lot="77",
            place=depot.places["hall"],
            at=at(0.0),
            liquid_c=20.0,
        )
        return receive_drums(tx, receipts=[receipt], by=MANAGER, now=at(0.0))[0].tag


def test_two_products_in_one_drum_are_held_until_a_manager_releases_it(depot):
    depot.night()
    winter, summer = other_product(depot), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(winter, "decanted", 1.0, kg=20.0, to=summer)

    held = depot.estimate(summer).verdicts["from_20"]
    assert held["state"] == "on_hold"
    assert any("iso-winter" in reason for reason in held["reasons"])
    assert any("more than one lot" in caution for caution in held["cautions"])
    depot.record(summer, "released", 2.0, reason="the supplier agrees")
    assert depot.estimate(summer).readiness != "on_hold"


def test_what_a_drum_is_held_for_goes_along_with_its_liquid(depot):
    depot.night()
    bad, good = depot.receive("hall", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(bad, "held", 0.5, reason="smells of solvent")
    depot.record(good, "topped", 1.0, kg=20.0, **{"from": bad})

    held = depot.estimate(good).verdicts["from_20"]
    assert held["state"] == "on_hold"
    assert any("smells of solvent" in reason for reason in held["reasons"])


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
        since, marks = due(tx, now=at(8.5))
    assert since[depot.drum(receiver).id] is not None
    for tag in (receiver, donor):  # the receiver first: its donor's checkpoints are stale still
        number = depot.drum(tag).id
        part = {number: since[number]}
        with depot.looking() as tx:
            work = load(tx, since=part, marks=(), now=at(8.5), others=since)
        assert [task.due for task in work.tasks].count(True) == 1
        with depot.writing() as tx:
            assert store(tx, outcome=compute(work)) == 1
    assert marks
    depot.check_all(8.5)


def test_a_donor_that_an_event_changed_meanwhile_is_not_believed_for_long(depot):
    depot.night()
    donor, receiver = depot.receive("hall", 0.0), depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(donor, "decanted", 4.0, kg=100.0, to=receiver)
    depot.record(receiver, "dipped", 3.0, recorded=5.0, c=19.0)  # has it computed from before
    with depot.looking() as tx:
        number = depot.drum(receiver).id
        work = load(tx, since={number: 0}, marks=(), now=at(6.0))
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
