"""All of a store as one file: whole or refused, into either kind of database, without a secret."""

import json
import re
from base64 import b64encode
from contextlib import ExitStack
from datetime import timedelta
from hashlib import blake2b
from io import BytesIO
from typing import Any

import pytest
from sqlalchemy import Column, LargeBinary, String, Table, select
from sqlmodel.sql.sqltypes import AutoString

from drumkeep.domain.notices import NoticeState
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations.accounts import password_holds
from drumkeep.storage import archive, leases, whole_tables
from drumkeep.storage.archive_rows import LEFT_OUT, leaving
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.depot import Depot, at, depot, empty_depot, short_sight
from tests.fixtures.every_table import both, fill, one_row
from tests.fixtures.stores import Store

__all__ = ["both", "depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")
NOW = at(24.0)

SMELLS = re.compile(
    r"hash|sha|secret|passw|token|salt|nonce|verifier|url|key|credential|session|cookie"
)
HARMLESS = {
    # ids of records that clients made, and digests of files
    *("photo.source_sha256", "photo.sha256", "reject.key"),
    # a digest of a session's id, by which people tell sessions apart
    "audit_entry.session",
}
"""Columns that may leave though their names smell."""


@pytest.fixture
def empty(tmp_path_factory):
    store = Store(tmp_path_factory.mktemp("empty"), None)
    with store.engine(tmp_path_factory.mktemp("target"), mould=store.tables) as engine:
        yield engine
    store.close()


def taken(engine):
    file = BytesIO()
    with reading(engine) as tx:
        archive.write(tx, file, now=NOW)
    return file.getvalue()


def brought(engine, content):
    file = BytesIO(content)
    archive.check(file)
    with transaction(engine) as tx:
        return archive.store(tx, file, now=NOW)


def recognisable(table: Table) -> dict[str, object]:
    """Return a row in which what smells of a secret says where it stands."""
    marks: dict[str, object] = {}
    for column in smelling(table):
        mark = f"{table.name}.{column.name}"
        marks[column.name] = mark.encode() if isinstance(column.type, LargeBinary) else mark
    return one_row(table) | marks


def smelling(table: Table) -> list[Column[Any]]:
    """Return the columns of texts or octets that by their names may be secrets."""
    kinds = AutoString | String | LargeBinary
    return [c for c in table.columns if SMELLS.search(c.name) and isinstance(c.type, kinds)]


def filled(engine):
    with transaction(engine) as tx:
        for table in whole_tables.every_table():
            row = recognisable(table)
            if table.name == "notice":
                row["state"] = NoticeState.WAITING.value
            tx.session.connection().execute(table.insert().values(row))


@pytest.mark.postgres
@pytest.mark.parametrize(
    ("one", "other"),
    [("sqlite", "postgresql"), ("postgresql", "sqlite"), ("sqlite", "sqlite")],
)
def test_a_row_of_every_table_comes_back_whichever_way(both, tmp_path, one, other):
    (tmp_path / "to").mkdir()
    with ExitStack() as ends:
        source, target = (
            ends.enter_context(both[kind].engine(folder, mould=both[kind].tables))
            for kind, folder in ((one, tmp_path), (other, tmp_path / "to"))
        )
        fill(source)
        first = taken(source)
        counts = brought(target, first)
        again = taken(target)
    assert counts == {table.name: 1 for table in leaving()}
    assert again == first


def test_no_secret_leaves(empty):
    filled(empty)
    content = taken(empty).decode()
    tables = whole_tables.every_table()
    marks = {f"{table.name}.{c.name}" for table in tables for c in smelling(table)}
    assert len(marks) > 10
    left = {
        mark
        for mark in marks
        if f'"{mark}"' in content or b64encode(mark.encode()).decode() in content
    }
    assert left == HARMLESS
    for name in LEFT_OUT:
        assert f'"table":"{name}"' not in content


def test_what_needs_a_secret_arrives_shut(empty):
    filled(empty)
    rows = dict(re.findall(rb'{"table":"(\w+)","row":(.*)}', taken(empty)))
    found = {name: json.loads(rows[name.encode()]) for name in ("account", "token", "notice")}
    assert not password_holds(Account(**found["account"]), password="")
    assert (found["token"]["hash"], found["token"]["revoked_at"] is None) == ("none:1", False)
    assert found["notice"]["state"] == "dropped"
    assert json.loads(rows[b"notice_address"])["removed_at"]


def test_a_store_that_lived_computes_the_same_elsewhere(depot, empty):
    depot.night()
    tag = depot.receive("van", 0.0)
    depot.record(tag, "moved", 2.0, to="hall")
    depot.advance(12.0)

    brought(empty, taken(depot.engine))

    there = Depot(empty, depot.places, depot._numbers)
    assert there.recomputed(12.0)[tag].tobytes() == depot.recomputed(12.0)[tag].tobytes()
    assert there.drum(there.receive("hall", 13.0)).id == 2  # ids go on


def spoiled(content: bytes) -> dict[str, bytes]:
    lines = content.splitlines(keepends=True)
    return {
        "nothing": b"",
        "no archive": b'{"hello": 1}\n',
        "cut within a line": content[: len(content) // 2],
        "cut after a line": b"".join(lines[:-1]),
        "a line left out": b"".join([*lines[:2], *lines[3:]]),
        "another figure": content.replace(b'"north"', b'"south"', 1),
        "a line more": content + lines[1],
        "another format": content.replace(b'"format":1', b'"format":2', 1),
        "other tables": content.replace(b'"tables":"00', b'"tables":"99', 1),
    }


def test_what_was_cut_or_altered_is_refused_and_nothing_is_stored(depot, empty):
    for name, content in spoiled(taken(depot.engine)).items():
        with pytest.raises((Invalid, Conflict)) as raised:
            brought(empty, content)
        assert raised.value.faults[0].mend, name
    with reading(empty) as tx:
        assert tx.session.execute(select(1).select_from(leaving()[0])).first() is None


def test_a_row_of_another_shape_is_refused_though_the_digest_fits(empty):
    row = b'{"table":"site","row":{"id":1,"code":2}}\n'
    header, _ = taken(empty).splitlines(keepends=True)
    forged = blake2b(header + row).hexdigest().encode()
    body = header + row + b'{"end":{"rows":{"site":1},"blake2b":"' + forged + b'"}}\n'
    with pytest.raises(Invalid, match="no row of site"):
        brought(empty, body)


def test_nothing_is_mixed_with_what_is_there(depot):
    content = taken(depot.engine)
    with pytest.raises(Conflict, match="empty store"):
        brought(depot.engine, content)


def test_a_store_with_a_service_on_it_takes_nothing_in(empty):
    content = taken(empty)
    with transaction(empty) as tx:
        leases.take(tx, name=leases.SCHEDULE, holder="x", now=NOW, length=timedelta(minutes=1))
    with pytest.raises(Conflict, match="Stop the service"):
        brought(empty, content)
