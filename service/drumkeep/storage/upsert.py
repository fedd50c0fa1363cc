"""Rows in place of those with the same keys, many in one statement and none of them read before."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm.util import identity_key
from sqlmodel import SQLModel

from drumkeep.storage.transaction import Tx

_INSERT: Final[Mapping[str, Any]] = {
    "sqlite": sqlite.insert,
    "postgresql": postgresql.insert,
}


def upsert(tx: Tx, table: type[SQLModel], rows: Sequence[Mapping[str, Any]]) -> None:
    """Store rows, each in place of the one with its key; what the session knew of them is stale.

    Parameters
    ----------
    tx
        May write.
    table
        Of which every column is in every row.
    rows
        Values by column.
    """
    if not rows:
        return
    connection = tx.session.connection()
    statement = _INSERT[connection.dialect.name](table)
    keys = [column.name for column in table.__table__.primary_key]  # type: ignore[attr-defined]
    others = {name: statement.excluded[name] for name in table.model_fields if name not in keys}
    tx.session.flush()
    connection.execute(
        statement.on_conflict_do_update(index_elements=keys, set_=others), list(rows)
    )
    known = tx.session.identity_map
    for row in rows:
        found = known.get(identity_key(table, tuple(row[key] for key in keys)))
        if found is not None:
            tx.session.expire(found)
