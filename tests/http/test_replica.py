"""Pages are read from a streaming replica, but whoever changed something sees it, lag or not."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count

import httpx
import pytest
from sqlalchemy import text

from drumkeep.domain.roles import Role
from drumkeep.errors import Invalid
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.replica import Replica
from tests.fixtures.postgres import Postgres, replica_of, running_postgres
from tests.fixtures.process import wait_until
from tests.fixtures.serving import Serving, serve
from tests.fixtures.stores import Store

pytestmark = pytest.mark.postgres

SITES = "/api/v1/sites"
OLD_WILL_DO = {"Cache-Control": "max-age=5"}
CODES = map("yard-{}".format, count())


@dataclass(frozen=True)
class Replicated:
    """A service on a PostgreSQL that another one follows."""

    serving: Serving
    follower: Postgres
    engine: Engine

    @property
    def serves(self) -> bool:
        """Whether the service reads from the replica."""
        return bool(self.serving.app.state.services.database.replica_serves)

    def say(self, sql: str) -> object:
        """Say something to the replica."""
        with self.engine.connect() as connection:
            return connection.scalar(text(sql))

    @contextmanager
    def behind(self) -> Iterator[None]:
        """Keep the replica from applying anything until the end of the block."""
        self.say("SELECT pg_wal_replay_pause()")
        wait_until(
            lambda: self.say("SELECT pg_get_wal_replay_pause_state()") == "paused", "it pauses"
        )
        try:
            yield
        finally:
            self.say("SELECT pg_wal_replay_resume()")


@pytest.fixture(scope="module")
def replicated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Replicated]:
    folder = tmp_path_factory.mktemp("replicated")
    with running_postgres() as primary, replica_of(primary) as follower:
        store = Store(folder, primary)
        with store.database(folder) as url:
            there = follower.url(url.rpartition("/")[2])
            with serve(folder, database_url=url, replica_url=there) as serving:
                engine = create(there)
                yield Replicated(serving, follower, engine)
                engine.dispose()
        store.close()


@pytest.fixture
def fresh(replicated: Replicated) -> Replicated:
    wait_until(lambda: replicated.serves, "the replica keeps up")
    return replicated


def add(client: httpx.Client) -> str:
    code = next(CODES)
    answer = client.post(SITES, json={"code": code, "name": code, "timezone": "UTC"})
    assert answer.status_code == 201, answer.text
    return code


def sees(client: httpx.Client, code: str, **how: str) -> bool:
    answer = client.get(f"{SITES}/{code}", headers=how)
    assert answer.status_code in {200, 404}
    return answer.status_code == 200


def test_who_changed_something_sees_it_and_others_a_little_later(fresh: Replicated):
    with fresh.serving.signed_in() as mine, fresh.serving.signed_in() as theirs:
        theirs.cookies.delete("drumkeep_wrote")  # of signing in
        with fresh.behind():
            code = add(mine)
            assert sees(mine, code)
            assert fresh.serves
            assert not sees(theirs, code)  # it does come from the replica
            assert sees(theirs, code, **{"Cache-Control": "max-age=0"})  # by reloading
            assert sees(theirs, code, **{"Cache-Control": "no-cache"})
        wait_until(lambda: sees(theirs, code), "others see it")


def test_a_program_gets_what_is_so_now_unless_it_says_otherwise(fresh: Replicated):
    with fresh.serving.client(Role.MANAGER) as program, fresh.behind():
        code = add(program)
        assert "drumkeep_wrote" in program.cookies
        program.cookies.clear()  # programs seldom keep them
        assert sees(program, code)
        assert not sees(program, code, **OLD_WILL_DO)
        assert sees(program, code, **{"Cache-Control": "max-age=4"})


def test_a_replica_that_falls_behind_is_left_alone(fresh: Replicated):
    with fresh.serving.client(Role.MANAGER) as program:
        with fresh.behind():
            code = add(program)
            program.cookies.clear()
            assert not sees(program, code, **OLD_WILL_DO)
            wait_until(lambda: not fresh.serves, "it is found to be behind")
            assert sees(program, code, **OLD_WILL_DO)
        wait_until(lambda: fresh.serves, "it has caught up")
        assert sees(program, code, **OLD_WILL_DO)


def test_a_replica_that_goes_away_takes_no_answer_with_it(fresh: Replicated):
    with fresh.serving.client(Role.MANAGER) as program:
        code = add(program)
        program.cookies.clear()
        fresh.follower.stop("immediate")
        try:
            for _ in range(5):
                assert sees(program, code, **OLD_WILL_DO)
            assert not fresh.serves
        finally:
            fresh.follower.start()
        wait_until(lambda: fresh.serves, "it is there again")


def test_a_server_that_follows_nobody_is_not_read_from(replicated: Replicated):
    primary = replicated.serving.engine
    alone = Replica(primary, primary=primary)

    alone.look()

    assert not alone.fresh


def test_sqlite_has_no_replica(tmp_path, postgres: Postgres):
    with (
        pytest.raises(Invalid) as refused,
        serve(tmp_path, replica_url=postgres.url("postgres")),
    ):
        pytest.fail("it begins to serve")

    assert refused.value.faults[0].field == "DRUMKEEP_REPLICA_URL"
