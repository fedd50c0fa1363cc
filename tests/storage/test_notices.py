"""Queries on notices and addresses."""

import pytest

from drumkeep.errors import Conflict
from drumkeep.operations.accounts import create_account
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from tests.fixtures.depot import BEGIN, at, depot, empty_depot

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores


@pytest.fixture
def address(depot):
    with depot.writing() as tx:
        account = create_account(
            tx,
            name="dana",
            display_name="Dana",
            role="dispatcher",
            password="seven green ladders",
            now=BEGIN,
        )
        made = NoticeAddress(
            account_id=account.id,
            url="json://hooks.example.com/",
            channel="webhook",
            shown="json://hooks.example.com…",
            created_at=BEGIN,
        )
        rows.add(tx, made)
    return made


def notice(address, number, *, hours=0.0, state="waiting", **more):
    usual = {
        "id": f"n-{number}",
        "address_id": address.id,
        "occasion": "test",
        "number": number,
        "state": state,
        "priority": "high",
        "queued_at": at(hours),
        "due_at": at(hours),
    }
    return Notice(**(usual | more))


def add(depot, *found):
    with depot.writing() as tx:
        for row in found:
            rows.add(tx, row)


def test_the_same_notice_cannot_come_to_be_twice(depot, address):
    add(depot, notice(address, 1))

    with pytest.raises(Conflict):
        add(depot, notice(address, 1))


def test_an_error_of_the_database_does_not_repeat_the_address(depot):
    lost = NoticeAddress(
        account_id=999,
        url="json://hooks.example.com/s3cr3t",
        channel="webhook",
        shown="json://hooks.example.com…",
        created_at=BEGIN,
    )

    with pytest.raises(Conflict) as found:
        add(depot, lost)

    assert "notice_address" in str(found.value.__cause__)
    assert "s3cr3t" not in str(found.value.__cause__)


def test_due_is_what_waits_until_now_and_what_a_dead_sender_holds(depot, address):
    add(
        depot,
        notice(address, 1, hours=2.0),
        notice(address, 2, hours=1.0),
        notice(address, 3, hours=5.0),
        notice(address, 4, state="sending", claimed_at=at(1.0)),
        notice(address, 5, state="sending", claimed_at=at(1.9)),
        notice(address, 6, state="sent"),
        notice(address, 7, state="failed"),
    )

    with depot.looking() as tx:
        found = rows.due(tx, now=at(2.0), claimed_before=at(1.5))
        assert [row.number for row in found] == [4, 2, 1]
        assert rows.is_due(tx, now=at(2.0), claimed_before=at(1.5))
        assert not rows.is_due(tx, now=at(0.5), claimed_before=at(0.5))
        assert rows.busy_addresses(tx) == {address.id}


def test_the_counts_are_of_what_waits_and_of_what_was_given_up_lately(depot, address):
    with depot.looking() as tx:
        assert rows.counts(tx, failed_since=at(0.0)) == (0, None, 0)
    add(
        depot,
        notice(address, 1, hours=2.0),
        notice(address, 2, hours=1.0, state="sending"),
        notice(address, 3, state="failed", ended_at=at(3.0)),
        notice(address, 4, state="failed", ended_at=at(1.0)),
    )

    with depot.looking() as tx:
        assert rows.counts(tx, failed_since=at(2.0)) == (2, at(1.0), 1)


def test_the_list_comes_newest_first_in_pages_that_miss_nothing(depot, address):
    add(depot, *(notice(address, number, hours=number // 3) for number in range(1, 9)))
    with depot.looking() as tx:
        everything = [row.number for row in rows.list_notices(tx)]
        paged: list[int] = []
        last = None
        for _ in range(3):
            page = rows.list_notices(tx, before=last, limit=3)
            paged += [row.number for row in page]
            last = page[-1]
    assert everything == [8, 7, 6, 5, 4, 3, 2, 1]
    assert paged == everything


def test_only_what_has_ended_is_forgotten(depot, address):
    add(
        depot,
        *(
            notice(address, number, state=state)
            for number, state in enumerate(("waiting", "sending", "sent", "failed", "dropped"))
        ),
        notice(address, 9, hours=9.0, state="sent"),
    )

    with depot.writing() as tx:
        assert rows.forget(tx, before=at(1.0)) == 3
        assert {row.state for row in rows.list_notices(tx)} == {"waiting", "sending", "sent"}


def test_an_address_that_was_removed_or_whose_account_is_closed_listens_no_more(depot, address):
    with depot.looking() as tx:
        ((found, account),) = rows.listeners(tx)
        assert (found.id, account.name) == (address.id, "dana")
    with depot.writing() as tx:
        kept = rows.address(tx, address_id=address.id)
        assert kept is not None
        kept.removed_at = at(0.0)
    with depot.looking() as tx:
        assert rows.listeners(tx) == []
        assert rows.addresses_of(tx, account_id=address.account_id) == []
        assert rows.owners(tx, address_ids=[address.id])[address.id][1].name == "dana"
