"""Queries on what was computed: states and checkpoints."""

import pytest

from drumkeep.storage import estimates as rows
from drumkeep.storage.tables.estimates import Estimate
from tests.fixtures.depot import at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]


@pytest.fixture
def drums(depot):
    """Give the ids of three drums that have no checkpoint yet."""
    return [depot.drum(depot.receive("hall", 0.0)).id for _ in range(3)]


def store(depot, drum_id, *steps, after=-1):
    with depot.writing() as tx:
        new = [(drum_id, step, b"%d" % step) for step in steps]
        rows.replace_checkpoints(tx, after={drum_id: after}, rows=new)


def stored(depot, drum_id):
    with depot.looking() as tx:
        found = rows.checkpoints_between(tx, drum_id=drum_id, first=0, last=2**31 - 1)
    assert all(row.state == b"%d" % row.step for row in found)
    return [row.step for row in found]


def test_a_state_takes_the_place_of_the_one_before(depot, drums):
    with depot.writing() as tx:
        before = rows.estimate_of(tx, drum_id=drums[0])
        assert before is not None
        rows.put(
            tx,
            estimates=[
                Estimate(
                    drum_id=drums[0], step=7, state=b"x", computed_at=at(1.0), readiness="unknown"
                )
            ],
        )
    with depot.looking() as tx:
        found = rows.estimates_of(tx, drum_ids=[*drums, 999])
    assert {i: e.step == 7 for i, e in found.items()} == dict.fromkeys(drums, False) | {
        drums[0]: True
    }
    assert found[drums[0]].bottom_c is None
    with depot.looking() as tx:
        assert rows.estimate_of(tx, drum_id=999) is None


def test_the_newest_checkpoint_up_to_each_drums_own_bound_is_found(depot, drums):
    one, two, three = drums
    store(depot, one, 6, 12, 18)
    store(depot, two, 12, 18)

    with depot.looking() as tx:
        found = rows.latest_checkpoints(tx, bounds={one: 17, two: 18, three: 100})
        assert found == {one: (12, b"12"), two: (18, b"18")}
        assert rows.latest_checkpoints(tx, bounds={one: 5, two: 12}) == {two: (12, b"12")}
        assert rows.latest_checkpoints(tx, bounds={one: -1}) == {}
        assert rows.latest_checkpoints(tx, bounds={}) == {}


def test_bounds_of_more_drums_than_one_query_takes(depot, drums):
    store(depot, drums[0], 6)
    bounds = dict.fromkeys(range(1, 1300), 100)

    with depot.looking() as tx:
        assert rows.latest_checkpoints(tx, bounds=bounds) == {drums[0]: (6, b"6")}


def test_what_lies_after_the_restart_is_replaced_and_the_rest_stays(depot, drums):
    one, two, _ = drums
    for drum_id in (one, two):
        store(depot, drum_id, 6, 12, 18, 24)

    store(depot, one, 12, 18, 30, after=12)  # the checkpoint it began with comes along

    assert stored(depot, one) == [6, 12, 18, 30]
    assert stored(depot, two) == [6, 12, 18, 24]
    store(depot, one, after=-1)
    assert stored(depot, one) == []


def test_a_span_of_checkpoints_has_both_its_ends(depot, drums):
    store(depot, drums[0], 6, 12, 18, 24)

    with depot.looking() as tx:
        found = rows.checkpoints_between(tx, drum_id=drums[0], first=12, last=18)

    assert [row.step for row in found] == [12, 18]


def test_thinning_keeps_one_in_so_many_of_the_old(depot, drums):
    for drum_id in drums[:2]:
        store(depot, drum_id, *range(0, 150, 6))

    with depot.writing() as tx:
        gone = rows.thin(tx, before=144, keep_every=72)

    assert stored(depot, drums[0]) == stored(depot, drums[1]) == [0, 72, 144]
    assert gone == 2 * (25 - 3)


def test_a_lot_has_the_coldest_and_longest_cold_of_any_of_its_drums(depot, drums):
    with depot.looking() as tx:
        lot = depot.drum(depot.receive("hall", 0.0)).lot_id
        assert rows.cold_lots(tx, lot_ids=[lot]) == {}
    for drum_id, c, hours in ((drums[0], 4.0, 2.5), (drums[1], 7.0, 30.0)):
        with depot.writing() as tx:
            estimate = rows.estimate_of(tx, drum_id=drum_id)
            assert estimate is not None
            estimate.was_cold_c, estimate.was_cold_hours = c, hours
            tx.session.add(estimate)

    with depot.looking() as tx:
        found = rows.cold_lots(tx, lot_ids=[lot, lot + 99])
    assert found == {lot: rows.LotMark(min_c=4.0, hours=30.0, drums=2)}
