"""A lock has one holder, and is free as soon as that one is gone."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest
from sqlalchemy import text

from drumkeep.storage.engine import Engine, create
from drumkeep.storage.locks import INGEST_WORKERS, SCHEDULE, Locks, locks_of
from tests.fixtures.stores import Store

PATIENCE_S = 10.0
ONE, TWO = 7, 8

HOLDER = """
import sys, time
from drumkeep.storage.engine import create
from drumkeep.storage.locks import locks_of
locks = locks_of(create(sys.argv[1]))
locks.beat()
print(locks.take(7), flush=True)
time.sleep(60)
"""


@pytest.fixture
def url(store: Store, tmp_path) -> Iterator[str]:
    with store.database(tmp_path, mould=store.tables) as url:
        yield url


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    engine = create(url)
    yield engine
    engine.dispose()


@pytest.fixture
def make(engine: Engine) -> Iterator[Callable[..., Locks]]:
    """Make what another process would have; all is given back at the end."""
    made: list[Locks] = []

    def new(**how: float) -> Locks:
        made.append(locks_of(engine, **how))
        made[-1].beat()
        return made[-1]

    yield new
    for locks in made:
        locks.close()


def wait_until(met: Callable[[], bool], what: str, *, within_s: float = PATIENCE_S) -> float:
    begun = time.monotonic()
    while not met():
        assert time.monotonic() < begun + within_s, f"it never came that {what}"
        time.sleep(0.02)
    return time.monotonic() - begun


@pytest.mark.both_stores
def test_of_two_who_want_a_lock_one_has_it(make):
    mine, theirs = make(), make()

    assert mine.take(ONE)
    assert mine.take(ONE)  # it has it already
    assert not theirs.take(ONE)
    assert theirs.take(TWO)
    assert (mine.holds(ONE), theirs.holds(ONE)) == (True, False)
    assert (mine.holds(TWO), theirs.holds(TWO)) == (False, True)

    mine.give_back(ONE)  # however often it was taken
    assert not mine.holds(ONE)
    assert theirs.take(ONE)


@pytest.mark.both_stores
def test_what_was_not_taken_can_be_given_back_and_closed_without_harm(make):
    mine, theirs = make(), make()
    theirs.take(ONE)
    mine.give_back(ONE)
    mine.close()

    assert theirs.holds(ONE)
    assert not make().take(ONE)


@pytest.mark.both_stores
def test_a_lock_is_free_within_a_second_of_its_holders_kill(url, make):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, url], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "True"
    mine = make()
    assert not mine.take(ONE)

    process.kill()
    process.communicate()

    assert wait_until(lambda: mine.take(ONE), "the lock was free") < 1.0


@pytest.mark.both_stores
def test_a_shared_lock_has_many_holders_and_keeps_one_who_wants_it_alone_off(make):
    one, two, alone = make(), make(), make()
    assert one.share(INGEST_WORKERS)
    assert two.share(INGEST_WORKERS)
    assert not alone.take(INGEST_WORKERS)

    one.give_back(INGEST_WORKERS)
    two.give_back(INGEST_WORKERS)
    assert alone.take(INGEST_WORKERS)


@pytest.fixture
def server(postgres, tmp_path) -> Iterator[Engine]:
    with Store(tmp_path, postgres).engine(tmp_path) as engine:
        yield engine


@pytest.mark.postgres
def test_everybody_sees_who_holds_what(server):
    one, two = locks_of(server), locks_of(server)
    one.beat()
    two.beat()
    one.share(INGEST_WORKERS)
    two.share(INGEST_WORKERS)
    two.take(ONE)

    seen = one.holders()

    assert seen == two.holders()
    assert seen == {INGEST_WORKERS: {one.me, two.me}, ONE: {two.me}}
    two.close()
    wait_until(lambda: one.holders() == {INGEST_WORKERS: {one.me}}, "the other was gone")
    one.close()


@pytest.mark.postgres
def test_locks_of_one_database_have_nothing_to_do_with_those_of_another(postgres, server, tmp_path):
    with Store(tmp_path, postgres).engine(tmp_path) as other:
        here, there = locks_of(server), locks_of(other)
        assert here.take(SCHEDULE)
        assert there.take(SCHEDULE)
        assert here.holders() == {SCHEDULE: {here.me}}
        here.close()
        there.close()


def end_connection(engine: Engine, pid: int) -> None:
    with engine.connect() as connection:
        connection.execute(text("SELECT pg_terminate_backend(:pid)"), {"pid": pid})


@pytest.mark.postgres
def test_a_holder_whose_connection_ends_notices_and_takes_its_locks_again(server):
    mine = locks_of(server)
    mine.take(ONE)
    end_connection(server, mine.me)

    assert not mine.beat()
    assert not mine.holds(ONE)
    assert mine.beat()
    assert mine.holds(ONE)
    mine.close()


@pytest.mark.postgres
def test_a_holder_whose_connection_ends_does_not_get_back_what_another_took(server):
    mine, theirs = locks_of(server), locks_of(server)
    mine.take(ONE)
    mine.take(TWO)
    end_connection(server, mine.me)
    wait_until(lambda: theirs.take(ONE), "the lock was free")

    assert not mine.beat()
    assert mine.beat()
    assert (mine.holds(ONE), mine.holds(TWO)) == (False, True)
    mine.close()
    theirs.close()


@pytest.mark.postgres
def test_a_holder_that_hangs_loses_its_locks_to_whoever_waits(server):
    hangs, waits = locks_of(server), locks_of(server, hung_s=0.5)
    hangs.take(ONE)
    waits.beat()
    waits.holders()
    assert not waits.take(ONE)  # it was heard just now

    def taken() -> bool:
        waits.holders()
        return waits.take(ONE)

    assert wait_until(taken, "the hung one was ended") >= 0.4
    assert not hangs.beat()
    assert hangs.beat()
    assert not hangs.holds(ONE)
    hangs.close()
    waits.close()
