"""Which events make sense after which, and what they amount to."""

import re
from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.drums import check_time, depth_m, fold, most_kg
from drumkeep.domain.events import EventKind
from drumkeep.domain.products import OutputClass
from drumkeep.errors import Conflict, Invalid
from tests.builders.past import HALL, ISO, RESIN, VAN, at, event, received

MOVED = {"to": VAN}


def facts(*events, product=ISO):
    return fold([received(liquid_c=20.0, net_kg=250.0), *events], product=product)


def refusal(*events):
    """Fault that the last of these events meets."""
    with pytest.raises((Conflict, Invalid)) as refused:
        facts(*events)
    (fault,) = refused.value.faults
    assert fault.mend.endswith(".")
    return refused.type, fault


def test_a_receipt_makes_a_drum():
    drum = fold([received(1.0, net_kg=200.0, **{"from": VAN})], product=ISO)

    assert (drum.received_at, drum.place, drum.net_kg, drum.origin) == (at(1.0), HALL, 200.0, VAN)
    assert [(s.place, s.until) for s in drum.stays] == [(HALL, None)]


def test_a_receipt_without_a_mass_is_of_the_products_usual_fill():
    assert fold([received()], product=RESIN).net_kg == 227.0


def test_nothing_happens_to_a_drum_before_its_receipt():
    with pytest.raises(Conflict) as refused:
        fold([event("moved", 0.0, **MOVED), received(1.0)], product=ISO)

    assert refused.value.faults[0].mend == "Record its receipt first."


def test_a_drum_never_received_is_no_drum():
    with pytest.raises(Conflict):
        fold([], product=ISO)


def test_a_drum_is_received_once():
    kind, fault = refusal(received(2.0))

    assert (kind, fault.field) == (Conflict, "kind")


@pytest.mark.parametrize("ending", ["emptied", "disposed"])
@pytest.mark.parametrize(
    ("later", "data"), [("moved", MOVED), ("dipped", {"c": 4.0}), ("emptied", {}), ("opened", {})]
)
def test_nothing_happens_to_a_drum_that_is_gone(ending, later, data):
    kind, fault = refusal(event(ending, 2.0), event(later, 3.0, **data))

    assert (kind, fault.field, fault.value) == (Conflict, "kind", later)


def test_stays_follow_the_moves():
    drum = facts(event("moved", 2.0, to=VAN), event("moved", 5.0, to=HALL), event("emptied", 9.0))

    assert [(s.place, s.since, s.until) for s in drum.stays] == [
        (HALL, at(0.0), at(2.0)),
        (VAN, at(2.0), at(5.0)),
        (HALL, at(5.0), at(9.0)),
    ]
    assert (drum.ended, drum.ended_at, drum.net_kg) == (EventKind.EMPTIED, at(9.0), 0.0)


def test_a_drum_is_not_moved_to_where_it_is():
    kind, fault = refusal(event("moved", 2.0, to=HALL))

    assert (kind, fault.field, fault.value) == (Conflict, "to", HALL)


def test_a_bulged_drum_is_not_moved():
    kind, fault = refusal(event("inspected", 1.0, bulge="seen"), event("moved", 2.0, **MOVED))

    assert (kind, fault.field) == (Conflict, "kind")
    assert "call the manager" in fault.mend


def test_a_bulged_drum_is_put_on_hold_by_the_look_itself():
    drum = facts(event("inspected", 1.0, bulge="seen"))

    assert drum.bulged
    assert drum.hold is not None
    assert drum.hold.reason == "bulged"


def test_a_bulged_drum_is_released_only_after_a_look_that_finds_it_flat():
    bulge = event("inspected", 1.0, bulge="seen")
    kind, _ = refusal(bulge, event("released", 2.0, reason="seems fine"))
    assert kind is Conflict

    drum = facts(
        bulge, event("inspected", 2.0, bulge="none"), event("released", 3.0, reason="flat")
    )
    assert (drum.bulged, drum.hold) == (False, None)


def test_a_look_that_finds_it_flat_does_not_by_itself_end_a_bulge():
    drum = facts(event("inspected", 1.0, bulge="seen"), event("inspected", 2.0, bulge="none"))

    assert drum.bulged
    assert drum.hold is not None


def test_a_bulge_seen_again_must_be_found_flat_again():
    kind, _ = refusal(
        event("inspected", 1.0, bulge="seen"),
        event("inspected", 2.0, bulge="none"),
        event("inspected", 3.0, bulge="seen"),
        event("released", 4.0, reason="flat an hour ago"),
    )

    assert kind is Conflict


def test_a_hold_stands_until_released():
    held = event("held", 1.0, reason="wrong colour")
    drum = facts(held)

    assert drum.hold is not None
    assert drum.hold.reason == "wrong colour"
    assert facts(held, event("released", 2.0, reason="was the light")).hold is None


def test_more_does_not_go_into_a_drum_than_its_brim():
    most = most_kg(ISO)

    assert most == pytest.approx(0.2165 * 1230.0)  # by hand
    kind, fault = refusal(event("weighed", 1.0, net_kg=most + 0.1))
    assert (kind, fault.field) == (Invalid, "net_kg")
    assert facts(event("weighed", 1.0, net_kg=most - 0.1)).net_kg == most - 0.1
    kind, fault = refusal(event("topped", 1.0, kg=17.0))
    assert (kind, fault.field, fault.value) == (Invalid, "kg", 17.0)


@pytest.mark.parametrize(
    ("kind", "field", "before"),
    [
        ("weighed", "net_kg", []),
        ("topped", "kg", []),
        ("decanted", "kg", [event("weighed", 1.0, net_kg=18.46)]),
    ],
)
def test_a_mend_that_is_followed_is_accepted(kind, field, before):
    _, fault = refusal(*before, event(kind, 2.0, **{field: 300.0}))
    (most,) = re.findall(r"(?:0 to|at most) ([0-9.]+) kg", fault.mend)

    facts(*before, event(kind, 2.0, **{field: float(most)}))


def test_more_is_not_decanted_than_there_is():
    kind, fault = refusal(event("decanted", 1.0, kg=250.5, to="x"))

    assert (kind, fault.field, fault.value) == (Conflict, "kg", 250.5)
    assert facts(event("decanted", 1.0, kg=250.0, to="x")).net_kg == 0.0


def test_a_dip_above_the_liquid_is_refused():
    kind, fault = refusal(event("dipped", 1.0, c=4.0, height_m=0.85))

    assert (kind, fault.field) == (Invalid, "height_m")
    assert depth_m(250.0, product=ISO) == pytest.approx(0.791, abs=0.001)
    assert facts(event("dipped", 1.0, c=4.0, height_m=0.80)).net_kg == 250.0


def test_what_is_wanted_may_be_wanted_otherwise_and_withdrawn():
    wanted = event("wanted", 1.0, wanted_at=at(50.0).isoformat(), output="under_20")
    drum = facts(wanted)

    assert (drum.wanted_at, drum.wanted_output) == (at(50.0), OutputClass.UNDER_20)
    drum = facts(wanted, event("wanted", 2.0, wanted_at=None))
    assert (drum.wanted_at, drum.wanted_output) == (None, None)


def test_a_drum_opened_is_open_until_closed_or_under_a_blanket():
    opened = event("opened", 1.0)

    assert (facts(opened).open, facts(opened).open_since) == (True, at(1.0))
    assert facts(opened, event("resealed", 2.0)).open_since is None
    assert facts(opened, event("blanketed", 2.0, gas="nitrogen", kpa=14.0)).open_since is None
    again = facts(opened, event("resealed", 2.0), event("opened", 3.0))
    assert (again.opened_at, again.open_since) == (at(1.0), at(3.0))


def test_agitations_and_the_last_look_are_kept():
    drum = facts(
        event("agitated", 1.0, minutes=30.0),
        event("agitated", 2.0, minutes=15.0),
        event("inspected", 3.0, solids="seen", reached_bottom=True),
    )

    assert drum.agitations == ((at(1.0), 30.0), (at(2.0), 15.0))
    assert drum.looked_at == at(3.0)


# When things may be said to have happened


def test_what_is_ahead_of_the_clock_is_refused():
    with pytest.raises(Invalid) as refused:
        check_time(at(1.0), now=at(0.0))

    assert refused.value.faults[0].field == "at"


def test_a_phones_clock_may_be_two_minutes_ahead():
    check_time(at(0.0) + timedelta(minutes=2), now=at(0.0))
    with pytest.raises(Invalid):
        check_time(at(0.0) + timedelta(minutes=2, seconds=1), now=at(0.0))


def test_what_lies_before_all_readings_is_refused():
    check_time(at(0.0) - timedelta(days=90), now=at(0.0))
    with pytest.raises(Invalid):
        check_time(at(0.0) - timedelta(days=90, seconds=1), now=at(0.0))


def test_what_was_poured_in_is_remembered_with_its_drum_and_time():
    source: dict[str, Any] = {"from": "K7Q-X4M"}
    drum = facts(event("topped", 1.0, kg=5.0, **source), event("topped", 2.0, kg=6.0, **source))

    assert drum.net_kg == 261.0
    assert drum.poured_in == (("K7Q-X4M", at(1.0)), ("K7Q-X4M", at(2.0)))
    assert drum.hold is None


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ({"mixed_with": "iso-winter"}, "mixed with iso-winter"),
        ({"was_held": "smells"}, "K7Q-X4M, poured into it, was on hold (smells)"),
    ],
)
def test_liquid_that_should_not_have_come_in_puts_the_drum_on_hold(found, words):
    data: dict[str, Any] = {"kg": 5.0, "from": "K7Q-X4M", **found}
    poured = event("topped", 1.0, **data)
    drum = facts(poured)

    assert drum.hold is not None
    assert drum.hold.reason == words
    assert facts(poured, event("released", 2.0, reason="tested")).hold is None
    held = facts(event("held", 0.5, reason="dented"), poured)
    assert held.hold is not None
    assert held.hold.reason == "dented"


@pytest.mark.parametrize("days", [-3651, 2])
def test_a_label_with_an_impossible_day_is_refused(days):
    label = (at(1.0) + timedelta(days=days)).date().isoformat()
    with pytest.raises(Invalid) as refused:
        fold([received(1.0, made_on=label)], product=ISO)

    assert refused.value.faults[0].field == "made_on"
    fold([received(1.0, made_on=at(1.0).date().isoformat())], product=ISO)
