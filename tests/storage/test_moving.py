"""A store moves whole from SQLite to PostgreSQL, goes on where it stopped, and is compared."""

from datetime import timedelta

import pytest
from sqlalchemy import text

from drumkeep.cli.main import main
from drumkeep.domain.roles import Role
from drumkeep.errors import Conflict
from drumkeep.operations import accounts
from drumkeep.storage import leases, moving, readings, schema, served, whole_tables
from drumkeep.storage.engine import create
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.depot import Depot, at, build, depot, empty_depot, short_sight
from tests.fixtures.stores import Store

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


@pytest.fixture(scope="module")
def other(postgres, tmp_path_factory):
    made = Store(tmp_path_factory.mktemp("other"), postgres)
    yield made
    made.close()


@pytest.fixture
def target(other, tmp_path):
    with other.engine(tmp_path, mould=other.tables) as engine:
        yield engine


@pytest.fixture
def lived(depot):
    """Give a depot in which a night has passed."""
    depot.night()
    tag = depot.receive("van", 0.0, un_mark=None)
    depot.record(tag, "moved", 2.0, to="hall")
    depot.advance(12.0)
    return depot


class CutError(Exception):
    """The move was cut off here."""


def move(depot, target, *, cut_after=None):
    told = []

    def tell(table, rows):
        told.append((table, rows))
        if cut_after is not None and len(told) > cut_after:
            raise CutError

    return moving.move(depot.engine, target, now=at(24.0), told=tell), told


def test_everything_is_there_afterwards_and_computes_the_same(lived, target):
    moved, _ = move(lived, target)

    rows = {one.table: one.rows for one in moved}
    assert rows["reading"] == 4 * (60 * 4 + 1)
    assert rows["drum"] == 1
    assert rows["checkpoint"] > 0
    there = Depot(target, lived.places, lived._numbers)
    tag = lived_tag(lived)
    assert there.recomputed(12.0)[tag].tobytes() == lived.recomputed(12.0)[tag].tobytes()
    assert there.drum(there.receive("hall", 13.0)).id == 2  # ids go on


def lived_tag(depot):
    with depot.looking() as tx:
        tag: str = tx.session.connection().execute(text("SELECT tag FROM drum")).scalar_one()
    return tag


def test_a_move_that_was_cut_goes_on_where_it_was(lived, target, monkeypatch):
    monkeypatch.setattr(whole_tables, "ROWS_AT_ONCE", 100)
    cuts = 0
    for cut_after in (0, 3, 5, 7):
        with pytest.raises(CutError):
            move(lived, target, cut_after=cut_after)
        cuts += cut_after + 1

    moved, told = move(lived, target)

    whole = sum(-(-one.rows // 100) for one in moved)
    assert len(told) == whole - cuts  # nothing was copied twice
    again, told = move(lived, target)
    assert (again, told) == (moved, [])


def test_a_store_with_a_service_on_it_is_not_moved(lived, target):
    with transaction(lived.engine) as tx:
        leases.take(tx, name=leases.SCHEDULE, holder="x", now=at(24.0), length=timedelta(minutes=1))

    with pytest.raises(Conflict, match="Stop the service"):
        move(lived, target)


def test_a_target_with_something_else_in_it_is_refused(lived, target):
    with transaction(target) as tx:
        readings.insert_batch(tx, rows=[(1, 5, 1.0)])

    with pytest.raises(Conflict, match="Name an empty database"):
        move(lived, target)


def test_a_target_with_people_of_its_own_is_refused_before_the_first_row(lived, target):
    for engine, name in ((lived.engine, "cleo"), (target, "boss")):
        with transaction(engine) as tx:
            accounts.create_account(
                tx,
                name=name,
                display_name=name,
                password="seven green ladders",
                role=Role.MANAGER,
                now=at(24.0),
            )
    with target.connect() as connection:
        before = connection.execute(text("SELECT * FROM account")).all()

    with pytest.raises(Conflict, match=r"account is not empty in the target, and differs"):
        move(lived, target)

    with target.connect() as connection:
        assert connection.execute(text("SELECT * FROM account")).all() == before
        assert connection.execute(text("SELECT count(*) FROM reading")).scalar_one() == 0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE drum SET net_kg = net_kg + 0.001", "drum is not empty.* differs in the row of id"),
        ("DELETE FROM reading WHERE ts = (SELECT min(ts) FROM reading)", "lacks the row of hour"),
    ],
)
def test_what_differs_in_the_target_is_told_and_nothing_is_copied(lived, target, change, said):
    move(lived, target)
    with target.begin() as connection:
        connection.execute(text(change))

    with pytest.raises(Conflict, match=said):
        move(lived, target)


def test_a_difference_that_comes_while_it_moves_is_found_by_checksum(lived, target):
    def tell(table, _rows):
        if table == "drum":
            with target.begin() as connection:
                connection.execute(text("UPDATE drum SET net_kg = net_kg + 0.001"))

    with pytest.raises(Conflict, match="differs in the row of id 1: it holds 1 rows with checksum"):
        moving.move(lived.engine, target, now=at(24.0), told=tell)


@pytest.mark.parametrize("which", ["source", "target"])
def test_a_store_on_which_any_process_serves_is_not_moved(lived, target, which):
    served_one = lived.engine if which == "source" else target
    with served.together(served_one), pytest.raises(Conflict, match="End every drumkeep process"):
        move(lived, target)

    move(lived, target)


def test_the_command_moves_what_stands_in_the_data_folder(tmp_path, other, capsys, monkeypatch):
    monkeypatch.delenv("DRUMKEEP_DATABASE_URL", raising=False)
    source = create(f"sqlite:///{tmp_path / 'drumkeep.db'}")
    schema.upgrade(source)
    build(source)
    source.dispose()
    with other.database(tmp_path) as url:
        assert main(["move-store", "--data-dir", str(tmp_path), "--to", url]) == 0
        engine = create(url)
        with reading(engine) as tx:
            sites = tx.session.connection().execute(text("SELECT code FROM site")).scalars().all()
        engine.dispose()

    assert sites == ["north"]
    assert "both databases hold the same" in capsys.readouterr().out
