"""Tables of which nothing is ever changed or deleted: triggers refuse it, whoever asks.

A table says so with ``info={APPEND_ONLY: True}``; the migration that makes it then makes its
triggers. SQLite loses them when a later migration copies the table, which must make them again.
"""

from typing import Final

from alembic.autogenerate import renderers
from alembic.autogenerate.api import AutogenContext
from alembic.operations.ops import MigrateOperation
from sqlalchemy import Connection

_WORDS: Final = "is kept as it was written"
_FUNCTION: Final = "drumkeep_append_only"


def protect(connection: Connection, table: str) -> None:
    """Have the database refuse to change or delete rows of a table."""
    if connection.dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} {_WORDS}'); END"
            )
        return
    connection.exec_driver_sql(
        f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION USING ERRCODE = 'integrity_constraint_violation', "
        f"MESSAGE = TG_TABLE_NAME || ' {_WORDS}'; END $$"
    )
    connection.exec_driver_sql(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {_FUNCTION}()"
    )


def release(connection: Connection) -> None:
    """Take away what the triggers of dropped tables called."""
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(f"DROP FUNCTION IF EXISTS {_FUNCTION}()")


class Protect(MigrateOperation):
    """In a migration that is being written: make the triggers of a table."""

    def __init__(self, table: str) -> None:
        self.table = table


class Release(MigrateOperation):
    """In a migration that is being written: take away what they called."""


@renderers.dispatch_for(Protect)
def _render_protect(context: AutogenContext, op: Protect) -> str:
    context.imports.add("from drumkeep.storage import append_only")
    return f'append_only.protect(op.get_bind(), "{op.table}")'


@renderers.dispatch_for(Release)
def _render_release(context: AutogenContext, _op: Release) -> str:
    context.imports.add("from drumkeep.storage import append_only")
    return "append_only.release(op.get_bind())"
