"""Bring a database to the tables this version needs, and write new migrations.

A new migration is written against an empty database, after the tables have changed::

    python -m drumkeep.storage.schema "what changed"
    ruff check --fix service/drumkeep/storage/migrations
    ruff format service/drumkeep/storage/migrations
"""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Final

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, Engine, inspect
from sqlalchemy.exc import (
    DatabaseError,
    DBAPIError,
    InterfaceError,
    InternalError,
    OperationalError,
    ProgrammingError,
)
from sqlmodel import SQLModel

import drumkeep.storage.tables  # noqa: F401 - knows every table
from drumkeep.errors import Conflict, Fault, Invalid, Refused, Unavailable
from drumkeep.storage import partitions
from drumkeep.storage.engine import CHANGES_SCHEMA, create
from drumkeep.storage.transaction import Tx, reading

_FOLDER = Path(__file__).parent / "migrations"
_NAMED: Final = 5
_MAY_NOT: Final = "42501"
_NO_DATABASE: Final = "SQLITE_NOTADB"


def upgrade(engine: Engine, *, to: str = "head") -> None:
    """Bring the database to a revision; all of it, or on an error none.

    Raises
    ------
    Unavailable
        The database cannot be opened now, or is held by another process.
    Conflict
        It is of a later version.
    Refused
        The role may not make tables in it.
    Invalid
        It is none, or of an encoding that cannot hold every name.
    """
    with _connected(engine) as config:
        try:
            command.upgrade(config, to)
        except CommandError as error:
            raise Conflict(
                f"The database is of a later version of drumkeep than this one: {error}. "
                "Start the version that wrote it, or restore a backup that this version made."
            ) from error


def check(engine: Engine) -> None:
    """Make sure that a database which calls itself up to date has all tables of this version.

    Raises
    ------
    Conflict
        It lacks some: another version made them under the same number.
    Unavailable
        It cannot be reached.
    """
    with reading(engine) as tx:
        found = {
            name: {column["name"] for column in columns}
            for (_, name), columns in inspect(tx.session.connection()).get_multi_columns().items()
        }
    lacking = [
        table.name if table.name not in found else f"{table.name}.{column.name}"
        for table in SQLModel.metadata.sorted_tables
        for column in table.columns
        if column.name not in found.get(table.name, ())
    ]
    if lacking:
        named = ", ".join(list(dict.fromkeys(lacking))[:_NAMED])
        raise Conflict(
            f"The database was made by another version of drumkeep: it lacks {named}. "
            "Start the version that made it, or restore a backup into an empty database."
        )


def downgrade(engine: Engine, *, to: str) -> None:
    """Take the database back to a revision (``base``: before the first)."""
    with _connected(engine) as config:
        command.downgrade(config, to)


def revision(tx: Tx) -> str | None:
    """Return the revision a database is at; None if it has no tables of ours."""
    return MigrationContext.configure(tx.session.connection()).get_current_revision()


@cache
def newest() -> str | None:
    """Return the revision that this version of the program needs."""
    return ScriptDirectory.from_config(_config()).get_current_head()


def differences(engine: Engine) -> list[object]:
    """Return what the tables in the code have and the database has not, or the other way round."""
    with reading(engine) as tx:
        connection = tx.session.connection()
        opts = {"compare_type": True, "include_name": partitions.is_no_partition}
        context = MigrationContext.configure(connection, opts=opts)
        return list(compare_metadata(context, SQLModel.metadata))


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


@contextmanager
def _connected(engine: Engine) -> Iterator[Config]:
    config = _config()
    rebuilding = engine.execution_options(**{CHANGES_SCHEMA: True})
    try:
        with rebuilding.begin() as connection:
            _refuse_unless_utf8(connection)
            config.attributes["connection"] = connection
            yield config
    except (OperationalError, InterfaceError, InternalError) as error:
        raise Unavailable(f"The database cannot be opened or changed: {_said(error)}.") from error
    except ProgrammingError as error:
        if getattr(error.orig, "sqlstate", None) != _MAY_NOT:
            raise
        raise Refused(
            f"The database does not let its role do what it must: {_said(error)}.",
            [_may_not(engine)],
        ) from error
    except DatabaseError as error:
        if getattr(error.orig, "sqlite_errorname", None) != _NO_DATABASE:
            raise
        mend = "Name another file, or restore a backup of it."
        fault = Fault(str(engine.url.database), None, "is no SQLite database", mend)
        raise Invalid("The database cannot be opened.", [fault]) from error


def _said(error: DBAPIError) -> str:
    """Return in one line what the driver says, which takes several for several addresses."""
    return " ".join(str(error.orig).splitlines()[0].split()).rstrip(".")


def _may_not(engine: Engine) -> Fault:
    role = f'"{engine.url.username}"' if engine.url.username else "the role"
    return Fault(
        "database_url",
        engine.url.username,
        "needs the right to make tables, and to use those that are there",
        f"Make it the owner (ALTER DATABASE {engine.url.database} OWNER TO {role}), or GRANT "
        f"USAGE, CREATE ON SCHEMA public TO {role}.",
    )


def _refuse_unless_utf8(connection: Connection) -> None:
    if connection.dialect.name != "postgresql":
        return  # the encoding of SQLite is one of Unicode's in any case
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise Invalid(
            "The database cannot be used.",
            [
                Fault(
                    "database_url",
                    connection.engine.url.database,
                    f"has the encoding {encoding}, and must have UTF8",
                    "Make one: CREATE DATABASE drumkeep ENCODING 'UTF8' TEMPLATE template0.",
                )
            ],
        )


def _write_migration(message: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        engine = create(f"sqlite:///{folder}/empty.db")
        upgrade(engine)
        number = len(list(ScriptDirectory.from_config(_config()).walk_revisions())) + 1
        with _connected(engine) as config:
            command.revision(config, message, autogenerate=True, rev_id=f"{number:04d}")
        engine.dispose()


if __name__ == "__main__":
    _write_migration(sys.argv[1])
