"""One transaction: all of it or none, one writer at a time, readers never in the way."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlmodel import select

from drumkeep.errors import Conflict, Invalid, Unavailable
from drumkeep.storage import schema
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.tables.catalogue import Place, Site
from drumkeep.storage.transaction import Tx, reading, transaction
from tests.fixtures.stores import Store

pytestmark = pytest.mark.both_stores


@pytest.fixture
def engine(store: Store, tmp_path: Path) -> Iterator[Engine]:
    with store.engine(tmp_path, mould=store.tables) as engine:
        yield engine


def site(code: str = "north") -> Site:
    return Site(code=code, name="North", timezone="UTC")


def codes(tx: Tx) -> list[str]:
    return sorted(tx.session.exec(select(Site.code)).all())


def test_what_is_written_is_there_afterwards(engine):
    with transaction(engine) as tx:
        tx.session.add(site())

    with reading(engine) as tx:
        assert codes(tx) == ["north"]


def test_an_error_undoes_all_of_it(engine):
    with pytest.raises(ZeroDivisionError), transaction(engine) as tx:  # noqa: PT012
        tx.session.add(site())
        tx.session.flush()
        raise ZeroDivisionError

    with reading(engine) as tx:
        assert codes(tx) == []


def test_rows_can_be_used_when_the_transaction_has_ended(engine):
    with transaction(engine) as tx:
        written = site()
        tx.session.add(written)
    with reading(engine) as tx:
        read = tx.session.exec(select(Site)).one()

    assert (written.id, written.code) == (read.id, read.code)


def test_a_reader_cannot_write(engine):
    with pytest.raises(Unavailable), reading(engine) as tx:  # noqa: PT012
        tx.session.add(site())
        tx.session.flush()

    with transaction(engine) as tx:  # on the same pooled connection
        tx.session.add(site())


def test_a_reader_sees_one_state_and_holds_nobody_up(engine):
    with reading(engine) as tx:
        assert codes(tx) == []
        with transaction(engine) as other:
            other.session.add(site())
        assert codes(tx) == []

    with reading(engine) as tx:
        assert codes(tx) == ["north"]


def test_constraints_are_said_as_a_conflict(engine):
    with transaction(engine) as tx:
        tx.session.add(site())

    with pytest.raises(Conflict), transaction(engine) as tx:
        tx.session.add(site())
    with pytest.raises(Conflict), transaction(engine) as tx:  # foreign keys are on
        tx.session.add(
            Place(site_id=99, code="x", name="X", kind="yard", motion="still", standing="slab")
        )


def test_what_a_writer_read_is_still_true_when_it_writes(engine):
    # Each adds a site named for the number of sites it saw: without the lock taken at the
    # beginning, two would see the same number.
    def add_one() -> None:
        with transaction(engine) as tx:
            tx.session.add(site(f"s{len(codes(tx)):03}"))

    threads = [threading.Thread(target=add_one) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with reading(engine) as tx:
        assert codes(tx) == [f"s{number:03}" for number in range(20)]


def test_a_call_after_the_commit_is_made_only_after_a_commit(engine):
    made: list[list[str]] = []

    def look() -> None:
        with reading(engine) as tx:
            made.append(codes(tx))

    with transaction(engine) as tx:
        tx.session.add(site())
        tx.after_commit(look)
        assert made == []
    assert made == [["north"]]

    with pytest.raises(ZeroDivisionError), transaction(engine) as tx:  # noqa: PT012
        tx.after_commit(look)
        raise ZeroDivisionError
    assert made == [["north"]]


def test_a_writer_that_hangs_gives_way_on_postgresql_sooner_than_a_reader(engine):
    if engine.dialect.name != "postgresql":
        return
    ask = "SHOW idle_in_transaction_session_timeout"
    with transaction(engine) as tx:
        assert tx.session.connection().exec_driver_sql(ask).scalar_one() == "25s"
    with reading(engine) as tx:
        assert tx.session.connection().exec_driver_sql(ask).scalar_one() == "2min"


@pytest.mark.parametrize(
    "url", ["nonsense", "mysql://host/db", "sqlite://", "sqlite:///:memory:", ""]
)
def test_an_address_of_no_database_is_refused(url):
    with pytest.raises(Invalid) as refused:
        create(url)

    assert refused.value.faults[0].field == "database_url"


def test_a_database_that_cannot_be_opened_is_said(tmp_path):
    engine = create(f"sqlite:///{tmp_path / 'missing' / 'drumkeep.db'}")

    with pytest.raises(Unavailable):
        schema.upgrade(engine)
