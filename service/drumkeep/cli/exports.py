"""``drumkeep export``: what is on record as CSV, to a file or another program."""

import argparse
import sys
from datetime import UTC, datetime

from drumkeep.cli.store import opened
from drumkeep.operations.exports import EXPORTS, Asked, export, write
from drumkeep.settings import load
from drumkeep.storage.transaction import reading


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("export", help="write what is on record as CSV")
    parser.add_argument("noun", metavar="WHAT", choices=list(EXPORTS), help=", ".join(EXPORTS))
    parser.add_argument("--site", metavar="CODE", help="drums, events, places, readings there only")
    for name, dest in (("--from", "start"), ("--to", "end")):
        parser.add_argument(
            name,
            dest=dest,
            metavar="TIME",
            type=_moment,
            help="events and readings: 2026-03-04 or 2026-03-04T14:30Z; UTC if it says none",
        )
    parser.add_argument("--data-dir", help="where the database is kept")
    parser.set_defaults(run=_run)


def _moment(text: str) -> datetime:
    at = datetime.fromisoformat(text)
    return at if at.tzinfo is not None else at.replace(tzinfo=UTC)


def _run(arguments: argparse.Namespace) -> int:
    with opened(load(data_dir=arguments.data_dir)) as engine, reading(engine) as tx:
        asked = Asked(arguments.site, arguments.start, arguments.end)
        table = export(tx, noun=arguments.noun, asked=asked)
        write(table, sys.stdout, line_end="\n")
    return 0
