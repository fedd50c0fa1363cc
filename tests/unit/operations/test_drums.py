"""Recording at the edges of time and mass."""

import numpy as np
import pytest
from sqlmodel import col, select

from drumkeep.domain.events import EventKind
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations.drums import Happening, record_event
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.storage import drums as rows
from drumkeep.storage.tables.drums import Stay
from tests.fixtures.depot import MANAGER, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")

MINUTE = 1.0 / 60.0


def test_a_receipt_from_a_phone_that_runs_ahead_is_computed_when_its_time_has_come(depot):
    depot.night()
    tag = depot.receive("hall", 1.0 + MINUTE, recorded=1.0 - MINUTE, liquid_c=21.0)
    ahead = depot.estimate(tag)
    assert (ahead.bottom_c, ahead.readiness) == (None, "unknown")

    depot.advance(1.1)

    assert depot.estimate(tag).mean_c == pytest.approx(21.0, abs=0.1)
    depot.check_all(1.1)


def test_an_event_from_a_phone_that_runs_ahead_takes_effect_at_its_time(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=21.0)
    depot.record(tag, "weighed", 1.0 + MINUTE, recorded=1.0 - MINUTE, net_kg=50.0)
    assert depot.drum(tag).net_kg == 50.0

    depot.advance(1.5)

    assert depot.state(tag)["mass_kg"][0] == 50.0
    depot.check_all(1.5)


@pytest.mark.parametrize("late_h", [-3 * MINUTE, 24 * 91])
def test_times_ahead_of_any_clock_and_long_past_are_refused(depot, late_h):
    tag = depot.receive("hall", 0.0)
    with pytest.raises(Invalid) as refused:
        depot.record(tag, "opened", 1.0 - late_h, recorded=1.0)

    assert refused.value.faults[0].field == "at"


@pytest.mark.parametrize("net_kg", [0.0, 0.001, 0.5, 5.0])
def test_what_is_left_in_an_all_but_empty_drum_stays_a_temperature(depot, net_kg):
    depot.night()
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    depot.record(tag, "weighed", 0.5, net_kg=net_kg)
    depot.advance(6.0)

    layers = depot.state(tag)["layers"]
    assert np.isfinite(layers).all()
    assert -15.0 < layers.min() <= layers.max() < 22.0  # the air's lowest, and where it began
    depot.record(tag, "dipped", 6.5, c=10.0)
    other = depot.receive("hall", 1.0, recorded=6.5)
    depot.record(tag, "topped", 7.0, kg=100.0, **{"from": other})
    depot.check_all(7.0)


def test_a_wish_sent_again_when_its_time_is_over_gets_the_same_answer(depot):
    depot.night()
    tag = depot.receive("hall", 0.0)
    wish = Happening(event_id=depot.fresh_id(), kind=EventKind.WANTED, at=at(3.0))
    with depot.writing() as tx:
        first = record_event(tx, tag=tag, happening=wish, by=MANAGER, now=at(1.0))[1]

    with depot.writing() as tx:
        again = record_event(tx, tag=tag, happening=wish, by=MANAGER, now=at(9.0))[1]

    assert again.seq == first.seq


def test_nothing_is_left_of_drums_of_which_one_was_refused(depot):
    def receipt(**changes):
        usual = {"product": "iso", "lot": "2231", "place": depot.places["hall"], "at": at(0.0)}
        return Receipt(event_id=depot.fresh_id(), **(usual | changes))

    with pytest.raises(Invalid), depot.writing() as tx:
        receive_drums(tx, receipts=[receipt(), receipt(net_kg=300.0)], by=MANAGER, now=at(0.0))

    with depot.looking() as tx:
        assert rows.list_drums(tx, present=False) == []


def test_the_stays_of_a_drum_are_what_its_moves_amount_to(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, origin="dock")
    depot.record(tag, "moved", 3.0, to="van")
    depot.record(tag, "moved", 1.0, recorded=4.0, to="room")
    depot.record(tag, "emptied", 5.0)

    with depot.looking() as tx:
        stays = tx.session.exec(select(Stay).order_by(col(Stay.since))).all()
    names = {i: name for name, i in depot.places.items()}
    assert [(names[s.place_id], s.since, s.until, s.origin) for s in stays] == [
        ("dock", at(-48.0), at(0.0), True),
        ("hall", at(0.0), at(1.0), False),
        ("room", at(1.0), at(3.0), False),
        ("van", at(3.0), at(5.0), False),
    ]


def test_two_records_of_one_id_in_one_moment_are_one(depot):
    depot.night()
    tag = depot.receive("hall", 0.0)
    twin = Happening(event_id=depot.fresh_id(), kind=EventKind.OPENED, at=at(1.0))
    with depot.writing() as tx:
        record_event(tx, tag=tag, happening=twin, by=MANAGER, now=at(1.0))
        record_event(tx, tag=tag, happening=twin, by=MANAGER, now=at(1.0))

    other = Happening(event_id=twin.event_id, kind=EventKind.VENTED, at=at(1.0))
    with pytest.raises(Conflict), depot.writing() as tx:
        record_event(tx, tag=tag, happening=other, by=MANAGER, now=at(1.0))
