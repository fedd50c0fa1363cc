"""Queries on alarms and their changes."""

import pytest

from drumkeep.errors import Conflict
from drumkeep.storage import alarms as rows
from drumkeep.storage.tables.alarms import Alarm, AlarmEntry
from tests.fixtures.depot import at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores


def alarm(number, hours, *, state="unacknowledged", is_open=True, published=False):
    return Alarm(
        id=f"{number:032d}",
        kind="gassing",
        cause=f"north/{number}",
        open_cause=f"gassing north/{number}" if is_open else None,
        site_id=1,
        state=state,
        priority="medium",
        audience=["manager"],
        message="Cool it.",
        drums=["K7Q-X4M"],
        raised_at=at(hours),
        changed_at=at(hours),
        published=published,
    )


def add(depot, *found):
    with depot.writing() as tx:
        for row in found:
            rows.add(tx, row)


def ids(found):
    return [int(row.id) for row in found]


def test_open_alarms_come_oldest_first(depot):
    add(depot, alarm(1, 2.0), alarm(2, 1.0), alarm(3, 0.0, state="normal", is_open=False))

    with depot.looking() as tx:
        assert ids(rows.open_alarms(tx)) == [2, 1]


def test_the_list_comes_newest_first_in_pages_that_miss_nothing(depot):
    add(depot, *(alarm(number, number // 3) for number in range(1, 9)))
    with depot.looking() as tx:
        everything = ids(rows.list_alarms(tx))
        assert everything == [8, 7, 6, 5, 4, 3, 2, 1]
        paged, before = [], None
        for _ in range(3):
            page = rows.list_alarms(tx, before=before, limit=3)
            paged += ids(page)
            before = page[-1].id
    assert paged == everything


def test_the_list_is_narrowed_by_state(depot):
    add(depot, alarm(1, 1.0), alarm(2, 2.0, state="acknowledged"), alarm(3, 3.0))

    with depot.looking() as tx:
        assert ids(rows.list_alarms(tx, state="unacknowledged")) == [3, 1]
        assert ids(rows.list_alarms(tx, state="unacknowledged", before=f"{2:032d}")) == [1]
        assert ids(rows.list_alarms(tx, state="shelved")) == []


def test_a_cause_is_open_once(depot):
    add(depot, alarm(1, 1.0, is_open=False))
    add(depot, alarm(2, 1.0, is_open=False))
    twin = alarm(3, 1.0)
    twin.open_cause = "gassing north/4"

    with pytest.raises(Conflict):
        add(depot, twin, alarm(4, 1.0))

    with depot.looking() as tx:
        assert ids(rows.list_alarms(tx)) == [2, 1]


def test_changes_are_told_by_alarm_in_their_order(depot):
    add(depot, alarm(1, 1.0), alarm(2, 1.0))
    one, two, none = (f"{number:032d}" for number in (1, 2, 3))
    add(
        depot,
        *(
            AlarmEntry(alarm_id=of, at=at(hours), state="unacknowledged", words=words)
            for of, hours, words in ((one, 2.0, "first"), (two, 3.0, "other"), (one, 1.0, "then"))
        ),
    )

    with depot.looking() as tx:
        found = rows.history(tx, alarm_ids=[one, two, none])
        assert rows.history(tx, alarm_ids=[]) == {}

    assert {i: [e.words for e in entries] for i, entries in found.items()} == {
        one: ["first", "then"],  # in order of recording
        two: ["other"],
        none: [],
    }


def test_what_is_not_published_comes_in_the_order_of_its_change(depot):
    add(depot, alarm(1, 3.0), alarm(2, 1.0), alarm(3, 2.0, published=True), alarm(4, 2.0))

    with depot.looking() as tx:
        assert ids(rows.unpublished(tx)) == [2, 4, 1]
        assert ids(rows.unpublished(tx, limit=1)) == [2]
