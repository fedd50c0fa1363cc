"""Runs inside of alembic: on the connection that ``storage.schema`` hands over."""

from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlmodel import SQLModel
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

import drumkeep.storage.tables  # noqa: F401 - knows every table


def render_item(kind: str, item: object, _context: AutogenContext) -> str | Literal[False]:
    """Write the plain type: a migration outlives the class that the tables use today."""
    if kind == "type" and isinstance(item, AutoString):
        return f"sa.String(length={item.length})"
    if kind == "type" and isinstance(item, UTCDateTime):
        return "sa.DateTime(timezone=True)"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    # SQLite cannot alter most of a table: it is copied into a new one.
    render_as_batch=True,
    compare_type=True,
    render_item=render_item,
)
with context.begin_transaction():
    context.run_migrations()
