"""``drumkeep import drums|lots|products|events``: a spreadsheet, checked or stored."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path

from drumkeep.asgi.sheets import bring_in_sheet
from drumkeep.cli.files import read_file
from drumkeep.cli.store import opened
from drumkeep.domain.roles import Role
from drumkeep.domain.spreadsheets import TITLE
from drumkeep.operations.drums import By
from drumkeep.operations.sheet_import import NOUNS, SheetReport
from drumkeep.settings import load
from drumkeep.storage.transaction import transaction


def add_parsers(nouns: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add what can be imported from a spreadsheet."""
    for noun, wanted in NOUNS.items():
        needed = ", ".join(column.name for column in wanted.columns if column.needed)
        others = ", ".join(column.name for column in wanted.columns if not column.needed)
        parser = nouns.add_parser(
            noun,
            help=f"{noun} from a spreadsheet saved as CSV",
            description=f"Columns that must be there: {needed}. Others that are read: {others}. "
            "A unit stands in the cell or in brackets in the header: net mass [lb].",
        )
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument(
            "--check", action="store_true", help="say each row's fate, store nothing"
        )
        parser.add_argument(
            "--take-good",
            action="store_true",
            help="store what can be used though rows are refused",
        )
        order = parser.add_mutually_exclusive_group()
        order.add_argument(
            "--day-first",
            dest="day_first",
            action="store_true",
            default=None,
            help="3/4/2026 is the 3rd of April",
        )
        order.add_argument(
            "--month-first",
            dest="day_first",
            action="store_false",
            help="3/4/2026 is the 4th of March",
        )
        parser.add_argument("--data-dir", help="where the database is kept")
        parser.set_defaults(run=_run, noun=noun)


def _run(arguments: argparse.Namespace) -> int:
    content = read_file(arguments.file, title=TITLE)
    with opened(load(data_dir=arguments.data_dir)) as engine, transaction(engine) as tx:
        report = bring_in_sheet(
            tx,
            noun=arguments.noun,
            content=content,
            by=By("command line", Role.MANAGER),
            now=datetime.now(UTC),  # noqa: TID251 - the edge
            check=arguments.check,
            take_good=arguments.take_good,
            day_first=arguments.day_first,
        )
    sys.stdout.write("\n".join(_lines(report)) + "\n")
    return 0 if report.stored or (arguments.check and not report.count("refused")) else 2


def _lines(report: SheetReport) -> list[str]:
    lines = []
    for row in report.rows:
        lines.append(f"row {row.line}: {row.fate}{'' if row.thing is None else f' {row.thing}'}")
        if row.fate in {"new", "changed"}:
            lines += [f"  {name}: {meant}" for name, meant in row.meant.items()]
        lines += [f"  {fault}" for fault in row.faults]
    if report.totals:
        lines.append(f"Passed over as totals: row {', '.join(map(str, report.totals))}.")
    if report.unused:
        lines.append(f"Columns that are not used: {', '.join(map(repr, report.unused))}")
    counts = (report.count(fate) for fate in ("new", "changed", "there", "refused"))
    lines.append(
        "{} new, {} changed, {} there already, {} refused.".format(*counts)
        + ("" if report.stored else " Nothing was stored.")
    )
    return lines
