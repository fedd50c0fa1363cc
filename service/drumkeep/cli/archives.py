"""``drumkeep export all`` and ``drumkeep import all``: the whole store as one file."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO, Final

from drumkeep.cli.files import opened_file
from drumkeep.cli.store import opened
from drumkeep.settings import load
from drumkeep.storage import archive
from drumkeep.storage.engine import Engine
from drumkeep.storage.savepoint import undone
from drumkeep.storage.transaction import reading, transaction

NOUN: Final = "all"

_WARNING: Final = """\
Nobody can sign in yet: passwords, tokens, gateways' passwords and the addresses of notices are
secrets and are in no archive. Set a manager's password first, who then sets the others':
  drumkeep account password NAME
"""


def add_parser(nouns: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add ``all`` to what can be imported."""
    parser = nouns.add_parser(
        NOUN,
        help="an archive that `drumkeep export all` wrote, into an empty store",
        description="It comes in whole or not at all, and only into a store without data.",
        epilog=_WARNING,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.add_argument("--check", action="store_true", help="try it, store nothing")
    parser.add_argument("--data-dir", help="where the database is kept")
    parser.set_defaults(run=_run)


def take_out(engine: Engine, file: BinaryIO) -> None:
    """Write an archive of all that is stored."""
    now = datetime.now(UTC)  # noqa: TID251 - the edge
    with reading(engine) as tx:
        archive.write(tx, file, now=now)


def _run(arguments: argparse.Namespace) -> int:
    now = datetime.now(UTC)  # noqa: TID251 - the edge
    with opened_file(arguments.file, title=archive.TITLE) as file:
        header = archive.check(file)
        settings = load(data_dir=arguments.data_dir)
        with opened(settings, alone=True) as engine, transaction(engine) as tx:
            if arguments.check:
                with undone(tx):
                    counts = archive.store(tx, file, now=now)
            else:
                counts = archive.store(tx, file, now=now)
    for table, rows in counts.items():
        sys.stdout.write(f"{table:20} {rows:12,}\n")
    sys.stdout.write(f"The archive is of {header.taken_at:%Y-%m-%d %H:%M}Z. ")
    if arguments.check:
        sys.stdout.write("It can be brought in. Nothing was stored.\n")
    else:
        sys.stdout.write(f"All of it is stored.\n{_WARNING}")
    return 0
