"""Liquid poured from drum to drum: on record with both, refused with both, corrected with both.

Expected states are the same code's over the whole past at once, drums together; the reckoning of a
pour itself is tested in ``tests/unit/domain/test_liquid_pours.py``.
"""

import pytest
from sqlmodel import select

from drumkeep.domain.events import EventKind
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations import lots, products
from drumkeep.operations.drums import Happening, record_event
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.drums import Event
from tests.fixtures.depot import (
    BEGIN,
    MANAGER,
    at,
    depot,
    empty_depot,
    short_sight,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


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
