"""The trail: every table but those of machines, one transaction with the deed, on both stores."""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest
from sqlmodel import SQLModel, col, select

from drumkeep.domain.audit import AuditQuery, Doer, Way
from drumkeep.errors import Conflict
from drumkeep.operations.audit import find
from drumkeep.storage import audit_trail
from drumkeep.storage.audit_trail import MACHINES, SECRETS, acting
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.tables.catalogue import Product, Site
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.stores import Store

pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
ANA = Doer(at=NOW, deed="d1", name="ana", role="manager", way=Way.PAGE)


@pytest.fixture
def engine(store: Store, tmp_path):
    with store.engine(tmp_path, mould=store.tables) as engine:
        yield engine


def site(code="north", **more):
    return Site(code=code, name="North", timezone="UTC", **more)


def told(engine):
    """Return what is on record: (did, kind, object, fields)."""
    with reading(engine) as tx:
        rows = tx.session.exec(select(AuditEntry).order_by(col(AuditEntry.id))).all()
    return [
        (
            row.did,
            row.kind,
            row.object,
            {k: v for part in msgspec.json.decode(row.changes) for k, v in part["fields"].items()},
        )
        for row in rows
    ]


def test_a_change_is_on_record_with_what_stood_before(engine):
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(site())
    with acting(ANA), transaction(engine) as tx:
        found = tx.session.exec(select(Site)).one()
        found.name, found.altitude_m = "South", 12.5

    first, second = told(engine)
    assert first[:3] == ("made", "site", "north")
    assert second == (
        "changed",
        "site",
        "north",
        {"name": ["North", "South"], "altitude_m": [0.0, 12.5]},
    )


def test_of_a_field_of_many_values_only_those_that_changed_are_told(engine):
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(Product(code="p", name="P", side="iso", limits={"a": 1.0, "b": 2.0}))
    with acting(ANA), transaction(engine) as tx:
        tx.session.exec(select(Product)).one().limits = {"a": 1.0, "b": 3.0, "c": 4.0}

    assert told(engine)[1][3] == {"limits.b": [2.0, 3.0], "limits.c": [None, 4.0]}


def test_what_is_removed_is_told_as_it_was(engine):
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(site())
    with acting(ANA), transaction(engine) as tx:
        tx.session.delete(tx.session.exec(select(Site)).one())

    assert told(engine)[1][:3] == ("removed", "site", "north")
    assert told(engine)[1][3]["name"] == ["North", None]


def test_what_was_changed_and_flushed_twice_is_told_once_from_first_to_last(engine):
    with acting(ANA), transaction(engine) as tx:
        row = site()
        for name in ("First", "Second", "Third"):
            row.name = name
            tx.session.add(row)
            tx.session.flush()
    with acting(ANA), transaction(engine) as tx:
        found = tx.session.exec(select(Site)).one()
        found.name = "Fourth"
        tx.session.flush()
        found.name = "Fifth"

    assert [fields["name"] for *_, fields in told(engine)] == [[None, "Third"], ["Third", "Fifth"]]


def test_what_is_undone_with_its_part_of_the_transaction_is_not_told(engine):
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(site("kept"))
        with pytest.raises(ZeroDivisionError), savepoint(tx):  # noqa: PT012
            tx.session.add(site("undone"))
            tx.session.flush()
            raise ZeroDivisionError

    assert [thing for _, _, thing, _ in told(engine)] == ["kept"]


def test_nothing_stands_of_a_transaction_that_failed(engine):
    with acting(ANA), pytest.raises(ZeroDivisionError), transaction(engine) as tx:  # noqa: PT012
        tx.session.add(site())
        tx.session.flush()
        raise ZeroDivisionError
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(site())
    with acting(ANA), pytest.raises(Conflict), transaction(engine) as tx:
        tx.session.add(site())

    assert len(told(engine)) == 1


def test_where_nobody_is_behind_it_there_is_no_entry(engine):
    with transaction(engine) as tx:
        tx.session.add(site())

    assert told(engine) == []
    assert audit_trail.DOER.get() is None


def test_the_trail_can_be_neither_changed_nor_deleted_through_its_own_class(engine):
    with acting(ANA), transaction(engine) as tx:
        tx.session.add(site())
    before = told(engine)

    with pytest.raises(Conflict), transaction(engine) as tx:
        tx.session.exec(select(AuditEntry)).one().did = "nothing"
    with pytest.raises(Conflict), transaction(engine) as tx:
        tx.session.delete(tx.session.exec(select(AuditEntry)).one())

    assert told(engine) == before


def test_the_search_takes_words_as_they_are_whatever_their_case(engine):
    for code in ("north", "a%b"):
        with acting(ANA), transaction(engine) as tx:
            tx.session.add(site(code))

    def found(**asked):
        with reading(engine) as tx:
            return [e.thing for e in find(tx, query=AuditQuery(**asked), limit=9)]

    assert found(text="NORTH") == ["a%b", "north"]  # the name of both
    assert found(thing="NOR") == ["north"]
    assert found(thing="%") == ["a%b"]
    assert found(who="ana", did="MADE") == ["a%b", "north"]
    assert found(who="Ana") == []
    assert found(since=NOW, until=NOW + timedelta(seconds=1)) == ["a%b", "north"]
    assert found(until=NOW) == []


def test_every_table_is_either_on_record_or_left_out_by_name():
    known = set(SQLModel.metadata.tables)
    assert known >= MACHINES
    # whatever a new table holds, its secrets are named as such or its column is no secret
    suspicious = ("pass", "secret", "hash", "salt", "token", "nonce", "url", "credential")
    harmless = {"token_id", "passed", "passed_at"}
    for name in known - MACHINES:
        for column in SQLModel.metadata.tables[name].columns:
            odd = any(word in column.name for word in suspicious)
            assert not odd or column.name in SECRETS | harmless, (name, column.name)
