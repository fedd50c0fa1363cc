"""An append-only log, and what it amounts to once corrections are folded in."""

from itertools import permutations
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.events import effective
from tests.builders.past import at, event, received


def correction(of, recorded, **what):
    return event("corrected", recorded, event=str(of.id), **what)


def test_a_log_without_corrections_is_put_in_order_of_time():
    late, early = event("moved", 5.0, to=2), received(1.0)

    assert effective([late, early]) == [early, late]


def test_equal_times_keep_the_order_of_recording():
    second = event("moved", 5.0, to=2, recorded=7.0)
    first = event("dipped", 5.0, c=4.0, recorded=6.0)

    assert effective([second, first]) == [first, second]


def test_a_correction_replaces_the_fields_it_names_and_no_others():
    dip = event("dipped", 5.0, c=40.0, height_m=0.1)
    (believed,) = effective([dip, correction(dip, 6.0, data={"c": 4.0})])

    assert believed.data == {"c": 4.0, "height_m": 0.1}
    assert believed.at == dip.at
    assert believed.id == dip.id


def test_a_correction_may_move_an_event_in_time_and_so_in_order():
    dip, move = event("dipped", 5.0, c=4.0), event("moved", 6.0, to=2)
    moved = correction(dip, 8.0, at=at(7.0).isoformat())

    assert [e.kind for e in effective([dip, move, moved])] == ["moved", "dipped"]


def test_a_withdrawn_event_has_not_happened():
    dip = event("dipped", 5.0, c=4.0)

    assert effective([dip, correction(dip, 6.0, void=True)]) == []


def test_a_withdrawn_event_is_not_brought_back_by_a_later_correction():
    dip = event("dipped", 5.0, c=4.0)
    log = [dip, correction(dip, 6.0, void=True), correction(dip, 7.0, data={"c": 5.0})]

    assert effective(log) == []


def test_of_several_corrections_the_last_recorded_holds_for_each_field():
    dip = event("dipped", 5.0, c=40.0, height_m=0.1)
    log = [
        dip,
        correction(dip, 7.0, data={"c": 5.0}),
        correction(dip, 6.0, data={"c": 4.0, "height_m": 0.2}),
    ]
    (believed,) = effective(log)

    assert believed.data == {"c": 5.0, "height_m": 0.2}


def test_a_correction_of_what_is_not_there_changes_nothing():
    dip = event("dipped", 5.0, c=4.0)
    stray = event("corrected", 6.0, event=str(UUID(int=0)), void=True)

    assert effective([dip, stray]) == [dip]


def test_the_log_itself_is_left_as_it_is():
    dip = event("dipped", 5.0, c=40.0)
    log = [dip, correction(dip, 6.0, data={"c": 4.0})]
    effective(log)

    assert log[0].data == {"c": 40.0}


@given(st.permutations(range(6)))
def test_the_order_in_which_the_log_is_read_makes_no_difference(order):
    dip, move = event("dipped", 5.0, c=40.0), event("moved", 3.0, to=2)
    log = [
        received(0.0),
        dip,
        move,
        correction(dip, 6.0, data={"c": 4.0}),
        correction(move, 6.0, at=at(4.0).isoformat()),
        correction(dip, 7.0, data={"height_m": 0.1}),
    ]

    assert effective([log[i] for i in order]) == effective(log)


def test_events_of_one_moment_recorded_at_one_moment_still_have_an_order():
    log = [event("dipped", 5.0, c=float(c)) for c in range(3)]

    assert {tuple(e.data["c"] for e in effective(some)) for some in permutations(log)} == {
        (0.0, 1.0, 2.0)
    }
