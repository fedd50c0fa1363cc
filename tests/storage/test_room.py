"""A full disk is told as such, and remembered for a while."""

import pytest

from drumkeep.errors import Unavailable
from drumkeep.operations.sites import create_site
from drumkeep.storage import room
from drumkeep.storage.engine import READ_ONLY
from drumkeep.storage.transaction import transaction


@pytest.fixture
def engine(store, tmp_path):
    with store.engine(tmp_path, mould=store.tables) as engine:
        yield engine


def overfill(engine):
    """Store more than the database may hold: SQLite says then what it says of a full disk."""
    with transaction(engine) as tx:
        connection = tx.session.connection()
        connection.exec_driver_sql("PRAGMA max_page_count = 1")  # it keeps what it has
        for number in range(2000):
            create_site(tx, code=f"s{number}", name="x" * 50, timezone="UTC")
            tx.session.flush()


def test_a_full_disk_is_told_in_words_of_its_own_and_remembered_for_a_while(engine, monkeypatch):
    assert not room.is_full(engine)

    with pytest.raises(Unavailable, match="disk of the database is full"):
        overfill(engine)

    assert room.is_full(engine)
    assert room.is_full(engine.execution_options(**{READ_ONLY: True}))
    monkeypatch.setattr(room, "BELIEVED_S", 0.0)
    assert not room.is_full(engine)


def test_another_trouble_is_no_full_disk(engine):
    with pytest.raises(Unavailable, match="not set up for this version"), transaction(engine) as tx:
        tx.session.connection().exec_driver_sql("SELECT * FROM nothing_of_the_kind")

    assert not room.is_full(engine)
