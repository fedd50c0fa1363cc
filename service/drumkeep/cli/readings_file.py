"""``drumkeep import readings``: a logger's download, checked or stored."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from drumkeep.cli.files import read_file
from drumkeep.cli.store import opened
from drumkeep.domain.devices import said as device_said
from drumkeep.domain.logger_columns import said_of_column
from drumkeep.domain.logger_tables import TITLE
from drumkeep.domain.sensors import OF_A_DEVICE, UNITS, Quantity
from drumkeep.operations.readings_import import (
    ImportAsked,
    ImportReport,
    Tally,
    portion_of,
    read_import,
)
from drumkeep.settings import load
from drumkeep.storage.transaction import reading, transaction

_UNIT_WORDS: Final = {
    Quantity.TEMPERATURE: "°C",
    Quantity.HUMIDITY: "%",
    Quantity.IRRADIANCE: "W/m²",
}
_EXAMPLE: Final = """\
Say of which sensor each column is, unless its header is the sensor's name:
  drumkeep import readings dock.csv --sensor "Temp, °F=urn:dev:ow:10e2073a01080063:temp" --check
A file with a line a reading needs columns called name and value, and unit if there are several.
Columns go by their header, a part of it that no other has, or their number from 1. Done again it
changes nothing: what is there already is a duplicate.
"""


def add_parser(nouns: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add ``readings`` to what can be imported."""
    parser = nouns.add_parser(
        "readings",
        help="what a logger recorded, as it was downloaded",
        epilog=_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", type=Path)
    parser.add_argument(
        "--sensor",
        metavar="COLUMN=NAME",
        action="append",
        default=[],
        help="of which sensor a column is",
    )
    parser.add_argument(
        "--unit",
        metavar="[COLUMN=]UNIT",
        action="append",
        default=[],
        help="unit of a column, or of all that say none: F, C, K, %%RH, W/m2, %%EL, V, dBm",
    )
    parser.add_argument("--time", metavar="COLUMN", help="which column is the time")
    order = parser.add_mutually_exclusive_group()
    order.add_argument(
        "--day-first", action="store_true", default=None, help="5/11/2026 is the 5th of November"
    )
    order.add_argument(
        "--month-first",
        dest="day_first",
        action="store_false",
        help="5/11/2026 is the 11th of May",
    )
    parser.add_argument(
        "--zone", help="zone of times that say none: America/Chicago, UTC-06:00; the site's else"
    )
    parser.add_argument("--site", help="code of the site whose clock it is")
    parser.add_argument(
        "--gateway", metavar="SITE/GATEWAY", help="sensors go by their short names behind its own"
    )
    parser.add_argument("--check", action="store_true", help="say what would become of it")
    parser.add_argument("--data-dir", help="where the database is kept")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    now = datetime.now(UTC)  # noqa: TID251 - the edge
    asked = ImportAsked(
        name=arguments.file.name,
        gateway=arguments.gateway,
        site=arguments.site,
        zone=arguments.zone,
        day_first=arguments.day_first,
        time=arguments.time,
        sensors=dict(said_of_column(text, field="sensor") for text in arguments.sensor),
        units=dict(said_of_column(text, field="unit") for text in arguments.unit),
    )
    content = read_file(arguments.file, title=TITLE)
    portion = portion_of(check=arguments.check)
    tally = Tally()
    with opened(load(data_dir=arguments.data_dir)) as engine:
        with reading(engine) as tx:
            imported = read_import(tx, content=content, asked=asked, now=now)
        for pack in imported.packs:
            with transaction(engine) as tx:
                tally.add(portion(tx, pack=pack, now=now))
    report = tally.report(imported.file)
    sys.stdout.write("\n".join(_lines(report, check=arguments.check)) + "\n")
    return 0


def _lines(report: ImportReport, *, check: bool) -> list[str]:
    """Write a report for the terminal, times in UTC."""
    lines = []
    for share in report.sensors:
        spans = f"{share.first_at:%Y-%m-%d %H:%M}Z to {share.last_at:%Y-%m-%d %H:%M}Z"
        low, high = (_value(value, share.quantity) for value in (share.low, share.high))
        lines.append(f"{share.name}, from {share.column!r}:")
        lines.append(f"  {share.readings} readings, {spans}, {low} to {high}")
    for kind in report.refused:
        lines.append(f"{kind.count} refused: {kind.problem}. {kind.mend}")
        lines += [f"  line {one.line}, {one.column}: {one.value!r}" for one in kind.examples]
    if report.unused:
        lines.append(f"Columns of no sensor: {', '.join(map(repr, report.unused))}")
    lines += report.notes
    would = "would be " if check else ""
    lines.append(
        f"{report.stored} {would}stored, {report.duplicates} there already, "
        f"{report.doubled} twice in the file, "
        f"{report.empty} without a value, {report.refused_count} refused."
        + (" Nothing was stored." if check else "")
    )
    return lines


def _value(value: float, quantity: Quantity) -> str:
    if quantity in OF_A_DEVICE:
        return device_said(value, quantity=quantity)
    return f"{value:.1f} {_UNIT_WORDS.get(quantity, UNITS[quantity])}"
