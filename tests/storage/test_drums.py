"""Queries on drums, their events and their stays."""

from collections.abc import Sequence
from datetime import datetime

import pytest
from sqlmodel import delete

from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.drums import Stay as StayFact
from drumkeep.domain.events import EventKind
from drumkeep.operations.drums import drum_tagged
from drumkeep.storage import drums as rows
from drumkeep.storage.tables.drums import Stay
from drumkeep.storage.tables.estimates import Estimate
from tests.fixtures.depot import at, depot, empty_depot, short_sight, steady

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]


def tags_of(found):
    return [row.drum.tag for row in found]


def test_the_list_is_narrowed_by_each_of_its_filters_and_by_all(depot):
    iso = depot.receive("hall", 0.0)
    resin = depot.receive("van", 0.0, side="resin")
    gone = depot.receive("hall", 0.0)
    depot.record(gone, "disposed", 1.0)
    hall = [depot.places["hall"]]

    with depot.looking() as tx:
        for filters, expected in (
            ({}, [iso, resin]),
            ({"present": False}, [iso, resin, gone]),
            ({"side": "resin"}, [resin]),
            ({"lot": "2231"}, [iso, resin]),
            ({"lot": "2231", "side": "iso"}, [iso]),
            ({"lot": "none"}, []),
            ({"place_ids": hall}, [iso]),
            ({"place_ids": []}, []),
            ({"place_ids": hall, "side": "resin"}, []),
            ({"tag": resin}, [resin]),
            ({"tag": gone}, []),
            ({"tag": gone, "present": False}, [gone]),
            ({"condition": "clear"}, [iso, resin]),
            ({"condition": "gassing"}, []),
            ({"limit": 1}, [iso]),
            ({"limit": 1, "condition": "clear"}, [iso]),
            ({"limit": None}, [iso, resin]),
        ):
            assert tags_of(rows.list_drums(tx, **filters)) == expected, filters
        first = rows.list_drums(tx)[0]
        assert tags_of(rows.list_drums(tx, after=first.drum.id)) == [resin]
        assert (first.lot.code, first.product.code, first.place.code) == ("2231", "iso", "hall")
        assert first.site.code == "north"
        assert first.estimate is not None
        assert first.estimate.drum_id == first.drum.id


def test_a_drum_that_is_not_computed_yet_is_listed_all_the_same(depot):
    tag = depot.receive("hall", 0.0)
    with depot.writing() as tx:
        tx.session.exec(delete(Estimate))
        found = rows.list_drums(tx)

    assert tags_of(found) == [tag]
    assert found[0].estimate is None
    with depot.looking() as tx:
        assert tags_of(rows.list_drums(tx, condition="clear")) == [tag]


def test_events_come_in_the_order_of_recording(depot):
    tag = depot.receive("hall", 0.0)
    late = depot.record(tag, "opened", 2.0)
    early = depot.record(tag, "vented", 1.0, recorded=3.0)

    drum_id = depot.drum(tag).id
    with depot.looking() as tx:
        found = rows.events_of(tx, drum_ids=[drum_id, drum_id + 1])
        assert [e.id for e in rows.event_rows(tx, drum_id=drum_id)][1:] == [late, early]
    assert [e.id for e in found[drum_id]][1:] == [late, early]
    assert found[drum_id][0].kind is EventKind.RECEIVED
    assert found[drum_id + 1] == []


def begun(stays: Sequence[Stay]) -> list[tuple[int, datetime]]:
    return sorted((stay.drum_id, stay.since) for stay in stays)


@pytest.mark.parametrize(
    ("since", "touched"),
    [(-1.0, True), (1.9, True), (2.0, True), (2.1, False)],
)
def test_a_stay_is_touched_by_what_changes_up_to_its_end(depot, since, touched):
    tag = depot.receive("hall", 0.0)
    depot.record(tag, "moved", 2.0, to="van")
    drum_id = depot.drum(tag).id

    with depot.looking() as tx:
        hall = rows.stays_touching(tx, place_ids=[depot.places["hall"]], since=at(since))
        van = rows.stays_touching(tx, place_ids=[depot.places["van"]], since=at(since))

    assert begun(hall) == ([(drum_id, at(0.0))] if touched else [])
    assert begun(van) == [(drum_id, at(2.0))]  # goes on


def test_air_at_the_very_moment_of_a_receipt_reaches_the_drum(depot):
    depot.receive("hall", 0.0, liquid_c=None, origin="dock")
    depot.advance(0.5)
    depot.send({"dock": {0.0: 9.0}, "hall": steady(9.0, first_h=0.0, last_h=0.5)}, now=0.5)

    depot.advance(0.5)

    depot.check_all(0.5)


def test_a_projection_replaces_the_one_before_and_counts(depot):
    tag = depot.receive("hall", 0.0)
    place = depot.places["van"]
    facts = DrumFacts(
        received_at=at(1.0), place=place, net_kg=7.0, stays=(StayFact(place, at(1.0)),)
    )
    with depot.writing() as tx:
        drum = drum_tagged(tx, tag=tag)
        before = drum.revision
        rows.project(
            tx,
            drum=drum,
            facts=facts,
            origin=Stay(drum_id=drum.id, place_id=place, since=at(0.0), until=at(1.0), origin=True),
        )

    drum = depot.drum(tag)
    assert (drum.place_id, drum.net_kg, drum.received_at) == (place, 7.0, at(1.0))
    assert drum.revision == before + 1
    with depot.looking() as tx:
        found = rows.stays_touching(tx, place_ids=list(depot.places.values()), since=at(-9.0))
    assert begun(found) == [(drum.id, at(0.0)), (drum.id, at(1.0))]
