"""Databases that cannot be used are refused in one line, which says why and what to do."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count

import psycopg
import pytest

from drumkeep.errors import Invalid, Refused
from drumkeep.storage import schema
from drumkeep.storage.engine import create
from tests.fixtures.postgres import Postgres

_names = map("unfit_{}".format, count())


@contextmanager
def made(postgres: Postgres, how: str) -> Iterator[str]:
    """Give a database that is made in some other way than ours; and a role of the same name."""
    name = next(_names)
    where = postgres.url("postgres").replace("+psycopg", "")
    with psycopg.connect(where, autocommit=True) as connection:
        connection.execute(f"CREATE ROLE {name} LOGIN".encode())
        connection.execute(f"CREATE DATABASE {name} TEMPLATE template0 {how}".encode())
        try:
            yield name
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())
            connection.execute(f"DROP ROLE {name}".encode())


def refusal(url: str) -> str:
    engine = create(url)
    try:
        with pytest.raises((Invalid, Refused)) as refused:
            schema.upgrade(engine)
    finally:
        engine.dispose()
    return str(refused.value)


@pytest.mark.postgres
@pytest.mark.parametrize("encoding", ["LATIN1", "SQL_ASCII"])
def test_an_encoding_that_cannot_hold_every_name_is_refused(postgres, encoding):
    with made(postgres, f"ENCODING '{encoding}'") as name:
        said = refusal(postgres.url(name))

    assert f"has the encoding {encoding}, and must have UTF8" in said
    assert "CREATE DATABASE" in said


@pytest.mark.postgres
def test_a_role_that_may_not_make_tables_is_told_what_it_needs(postgres):
    with made(postgres, "ENCODING 'UTF8'") as name:
        url = postgres.url(name).replace("//drumkeep@", f"//{name}@")
        said = refusal(url)
        owner = f'ALTER DATABASE {name} OWNER TO "{name}"'
        assert owner in said
        assert "permission denied for schema public" in said

        with psycopg.connect(postgres.url(name).replace("+psycopg", ""), autocommit=True) as boss:
            boss.execute(owner.encode())
        engine = create(url)
        schema.upgrade(engine)
        schema.check(engine)
        engine.dispose()


def test_a_file_that_is_no_database_is_refused(tmp_path):
    file = tmp_path / "drumkeep.db"
    file.write_text("these are the accounts of last year\n" * 200)

    assert f"{file} is no SQLite database" in refusal(f"sqlite:///{file}")


@pytest.mark.parametrize(
    "password_and_host", ["sesame@1@127.0.0.1", "sesame@1:5@127.0.0.1", "p@55:77/sesame@host"]
)
def test_an_address_with_a_password_that_was_not_encoded_is_refused_and_not_repeated(
    password_and_host,
):
    with pytest.raises(Invalid) as refused:
        create(f"postgresql://drumkeep:{password_and_host}/drumkeep")

    assert "sesame" not in str(refused.value)
    assert "@1" not in str(refused.value)
