"""Runs inside of alembic: on the connection that ``storage.schema`` hands over."""

from alembic import context
from sqlmodel import SQLModel

import drumkeep.storage.tables  # noqa: F401 - knows every table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    # SQLite cannot alter most of a table: it is copied into a new one.
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
