"""Queries on stock, on both databases: large numbers, JSON and whole days are theirs to do."""

from typing import Any

import pytest

from drumkeep.domain.grid import step_at, to_ms
from drumkeep.storage import catalogue, stock
from drumkeep.storage.stock import Asked
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores


def asked(depot, **changes):
    """Count iso of 250 kg a drum; ready within four days is in time."""
    with depot.looking() as tx:
        known = catalogue.places_by_id(tx, ids=list(depot.places.values()))
    (site,) = {place.site_id for place in known.values()}
    usual: dict[str, Any] = {
        "now_ms": to_ms(at(0.0)),
        "since": 0,
        "until_ms": to_ms(at(24.0 * 3650)),
        "by_ms": {site: to_ms(at(96.0))},
        "full_kg": dict.fromkeys(range(1, 10), 250.0),
        "partial_share": 0.95,
        "mixed_if_before": {},
    }
    return Asked(**(usual | changes))


def test_drums_are_counted_by_what_is_stored_of_them(depot):
    depot.receive("hall", 0.0)
    depot.receive("hall", 0.0, net_kg=100.0)
    held = depot.receive("van", 0.0)
    depot.record(held, "held", 0.1, reason="a dent")

    with depot.looking() as tx:
        found = {one.place_id: one for one in stock.groups(tx, asked=asked(depot))}
        ended = stock.groups(tx, asked=asked(depot, now_ms=to_ms(at(24.0 * 3650))))
        nobody = stock.groups(tx, asked=asked(depot, site_id=0))

    hall, van = found[depot.places["hall"]], found[depot.places["van"]]
    assert (hall.count, hall.partial, hall.expiring, hall.on_hold) == (2, 1, 2, 0)
    assert hall.net_kg == pytest.approx(350.0)
    assert (van.count, van.on_hold) == (1, 1)
    assert {one.expired for one in ended} == {1, 2}
    assert nobody == []


def test_what_was_not_computed_lately_is_not_known_unless_it_is_on_hold(depot):
    depot.receive("hall", 0.0)
    depot.record(depot.receive("hall", 0.0), "held", 0.1, reason="a dent")
    later = step_at(at(1.0))

    with depot.looking() as tx:
        (found,) = stock.groups(tx, asked=asked(depot, since=later))
        assert stock.next_to_use(tx, side="iso", now_ms=0, since=later, limit=5) == []
        (drum,) = stock.next_to_use(tx, side="iso", now_ms=0, since=0, limit=5)

    assert (found.unknown, found.on_hold) == (1, 1)
    assert drum.state in {"ready", "too_cold"}


def test_what_was_thrown_away_or_emptied_for_a_reason_is_found_and_what_was_used_up_is_not(depot):
    used, thrown, spilt = (depot.receive("hall", 0.0) for _ in range(3))
    depot.record(used, "emptied", 1.0)
    depot.record(thrown, "disposed", 1.0)
    depot.record(spilt, "emptied", 1.0, reason="water got in")

    with depot.looking() as tx:
        assert {one.tag for one in stock.ended(tx, since=at(0.0))} == {thrown, spilt}
        assert stock.ended(tx, since=at(2.0)) == []


def test_what_is_past_its_shelf_life_is_found_and_may_not_be_used_next(depot):
    tag = depot.receive("hall", 0.0)
    late = to_ms(at(24.0 * 3650))

    with depot.looking() as tx:
        assert [one.tag for one in stock.expired(tx, now_ms=late)] == [tag]
        assert stock.expired(tx, now_ms=to_ms(at(0.0))) == []
        assert stock.next_to_use(tx, side="iso", now_ms=late, since=0, limit=5) == []
