"""``drumkeep move-store``: take all that is stored into another database."""

import argparse
import sys
from datetime import UTC, datetime

from drumkeep.app import make_engine
from drumkeep.errors import Fault, Invalid
from drumkeep.settings import load
from drumkeep.storage import engine as engines
from drumkeep.storage import moving, schema

_EXAMPLE = """\
Stop the service first. The old store is left as it is; a move that was stopped goes on when called
again. At the end both are compared, row by row. Then set DRUMKEEP_DATABASE_URL and start anew:
  drumkeep move-store --to postgresql+psycopg://drumkeep@db.example/drumkeep
Back into a file, with DRUMKEEP_DATABASE_URL still that of PostgreSQL:
  drumkeep move-store --to sqlite:////var/lib/drumkeep/drumkeep.db
A password is best left out and kept in ~/.pgpass or PGPASSWORD.
"""

_NEXT = """\
Moved: both databases hold the same.
Now set DRUMKEEP_DATABASE_URL to the address of the new one and start the service. Keep the old
store until it has run for some days: nothing in it was changed, and the way back is the same.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "move-store",
        help="take all that is stored into another database",
        epilog=_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--to", metavar="URL", required=True, help="the database to fill")
    parser.add_argument("--data-dir", help="where the database is kept that is to be moved")
    parser.set_defaults(run=_move)


def _move(arguments: argparse.Namespace) -> int:
    settings = load(data_dir=arguments.data_dir)
    settings.prepare()
    source, target = make_engine(settings), engines.create(arguments.to)
    try:
        if source.url == target.url:
            mend = "Name another database."
            raise Invalid(
                "Nothing can be moved.", [Fault("--to", None, "is where all of it is", mend)]
            )
        for engine in (source, target):
            schema.upgrade(engine)
        now = datetime.now(UTC)  # noqa: TID251 - the edge
        moved = moving.move(source, target, now=now, told=_tell)
    finally:
        source.dispose()
        target.dispose()
    for one in moved:
        sys.stdout.write(f"{one.table:20} {one.rows:12,}  {one.checksum}\n")
    sys.stdout.write(_NEXT)
    return 0


def _tell(table: str, rows: int) -> None:
    sys.stderr.write(f"{table}: {rows:,} rows\n")
