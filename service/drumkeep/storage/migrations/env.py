"""Runs inside of alembic: on the connection that ``storage.schema`` hands over."""

from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import DefaultClause, False_
from sqlmodel import SQLModel
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.storage import partitions


def render_item(kind: str, item: object, _context: AutogenContext) -> str | Literal[False]:
    """Write the plain type: a migration outlives the class that the tables use today."""
    if kind == "type" and isinstance(item, AutoString):
        return f"sa.String(length={item.length})"
    if kind == "type" and isinstance(item, UTCDateTime):
        return "sa.DateTime(timezone=True)"
    if (
        kind == "server_default"
        and isinstance(item, DefaultClause)
        and isinstance(item.arg, False_)
    ):
        # Written against SQLite it would come out as 0, which is no truth value on PostgreSQL.
        return "sa.false()"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    # SQLite cannot alter most of a table: it is copied into a new one.
    render_as_batch=True,
    compare_type=True,
    render_item=render_item,
    include_name=partitions.is_no_partition,
)
with context.begin_transaction():
    context.run_migrations()
