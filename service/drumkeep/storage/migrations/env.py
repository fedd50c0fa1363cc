"""Runs inside of alembic: on the connection that ``storage.schema`` hands over."""

from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from alembic.operations.ops import CreateTableOp, MigrationScript
from alembic.runtime.migration import MigrationContext
from sqlalchemy import DefaultClause, False_
from sqlmodel import SQLModel
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.storage import partitions
from drumkeep.storage.append_only import Protect, Release
from drumkeep.storage.keys import APPEND_ONLY


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


def add_triggers(
    _context: MigrationContext, _revision: object, directives: list[MigrationScript]
) -> None:
    """Make the triggers of each new table to which nothing but new rows may happen."""
    for script in directives:
        if script.upgrade_ops is None or script.downgrade_ops is None:
            continue
        made = {op.table_name for op in script.upgrade_ops.ops if isinstance(op, CreateTableOp)}
        tables = SQLModel.metadata.tables
        kept = sorted(name for name in made if tables[name].info.get(APPEND_ONLY))
        script.upgrade_ops.ops += [Protect(name) for name in kept]
        script.downgrade_ops.ops += [Release()] if kept else []


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    # SQLite cannot alter most of a table: it is copied into a new one.
    render_as_batch=True,
    compare_type=True,
    render_item=render_item,
    include_name=partitions.is_no_partition,
    process_revision_directives=add_triggers,
)
with context.begin_transaction():
    context.run_migrations()
