"""``drumkeep export``: what is on record as CSV, or all of it, to a file or another program."""

import argparse
import sys
from datetime import UTC, datetime

from drumkeep.cli import archives
from drumkeep.cli.store import opened
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.exports import ALL, EXPORTS, Asked, export, write
from drumkeep.settings import load
from drumkeep.storage.transaction import reading


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("export", help="write what is on record as CSV, or all of it")
    parser.add_argument(
        "noun",
        metavar="WHAT",
        choices=[*EXPORTS, archives.NOUN],
        help=f"{', '.join(EXPORTS)} as CSV; {archives.NOUN}: the whole store but its secrets, "
        "for `drumkeep import all`",
    )
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
    asked = Asked(arguments.site, arguments.start, arguments.end)
    whole = arguments.noun == archives.NOUN
    if whole and asked != ALL:
        fault = Fault(
            "WHAT", arguments.noun, "has no part to choose", "Leave --site and times out."
        )
        raise Invalid("That cannot be exported so.", [fault])
    with opened(load(data_dir=arguments.data_dir)) as engine:
        if whole:
            archives.take_out(engine, sys.stdout.buffer)
            return 0
        with reading(engine) as tx:
            table = export(tx, noun=arguments.noun, asked=asked)
            write(table, sys.stdout, line_end="\n")
    return 0
