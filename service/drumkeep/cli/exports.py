"""``drumkeep export``: what is on record as CSV, to a file or another program."""

import argparse
import csv
import sys

from drumkeep.app import make_engine
from drumkeep.operations.exports import EXPORTS, cells
from drumkeep.settings import load
from drumkeep.storage import schema
from drumkeep.storage.transaction import reading


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("export", help="write what is on record as CSV")
    parser.add_argument("noun", metavar="WHAT", choices=list(EXPORTS), help=", ".join(EXPORTS))
    parser.add_argument("--data-dir", help="where the database is kept")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = load(data_dir=arguments.data_dir)
    settings.prepare()
    engine = make_engine(settings)
    try:
        schema.upgrade(engine)
        with reading(engine) as tx:
            table = EXPORTS[arguments.noun](tx)
            writer = csv.writer(sys.stdout, lineterminator="\n")
            writer.writerow(table.headers)
            writer.writerows(cells(row) for row in table.rows)
    finally:
        engine.dispose()
    return 0
