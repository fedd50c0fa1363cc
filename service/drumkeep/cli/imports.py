"""``drumkeep import``: bring what stands in a file into the database."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path

from drumkeep.cli import archives, readings_file, sheets
from drumkeep.cli.files import read_file
from drumkeep.cli.store import opened
from drumkeep.domain.air_forecasts import TITLE, OutdoorForecast, checked, from_csv
from drumkeep.domain.text_files import text_of
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import air_forecasts
from drumkeep.operations.sites import site_at
from drumkeep.settings import load
from drumkeep.storage.transaction import reading, transaction

_EXAMPLE = """\
The file is CSV with a header; times carry their zone, points are at most three hours apart:
  time,temperature_f
  2026-01-31T06:00:00-06:00,19.4
  2026-01-31T07:00:00-06:00,20.1
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("import", help="bring in what stands in a file")
    nouns = parser.add_subparsers(metavar="WHAT", required=True)
    forecast = nouns.add_parser(
        "air-forecast",
        help="a forecast of a site's outdoor air",
        epilog=_EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    forecast.add_argument("site", metavar="SITE", help="code of the site")
    forecast.add_argument("file", metavar="FILE", type=Path)
    forecast.add_argument("--issued-at", help="when it was issued, with its zone; now if left out")
    forecast.add_argument("--check", action="store_true", help="read and check it, store nothing")
    forecast.add_argument("--data-dir", help="where the database is kept")
    forecast.set_defaults(run=_air_forecast)
    readings_file.add_parser(nouns)
    sheets.add_parsers(nouns)
    archives.add_parser(nouns)


def _air_forecast(arguments: argparse.Namespace) -> int:
    now = datetime.now(UTC)  # noqa: TID251 - the edge
    points = from_csv(text_of(read_file(arguments.file, title=TITLE)))
    forecast = checked(points, issued_at=_issue(arguments.issued_at, now=now), now=now)
    with opened(load(data_dir=arguments.data_dir)) as engine:
        if arguments.check:
            with reading(engine) as tx:
                site_at(tx, code=arguments.site)
        else:
            with transaction(engine) as tx:
                air_forecasts.put_forecast(
                    tx, site=arguments.site, forecast=forecast, by="command line", now=now
                )
    sys.stdout.write(f"{_words(forecast)}{' Nothing was stored.' if arguments.check else ''}\n")
    return 0


def _issue(text: str | None, *, now: datetime) -> datetime:
    if text is None:
        return now
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    mend = "Write it with its zone, like 2026-01-31T06:00:00-06:00."
    raise Invalid(TITLE, [Fault("--issued-at", text, "is no time with a zone", mend)])


def _words(forecast: OutdoorForecast) -> str:
    first, last = (
        f"{datetime.fromtimestamp(s, tz=UTC):%Y-%m-%d %H:%M}Z" for s in forecast.at_s[[0, -1]]
    )
    return (
        f"{len(forecast.c)} points from {first} to {last}, "
        f"{forecast.c.min():.1f} to {forecast.c.max():.1f} °C."
    )
