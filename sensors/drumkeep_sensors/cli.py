"""``drumkeep-gateway``: what runs on a gateway."""

import argparse
import logging
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from threading import Event
from typing import Final

from drumkeep_sensors import scenario
from drumkeep_sensors.scenario import ScenarioError
from drumkeep_sensors.simulate import simulate
from drumkeep_sensors.spool import SpoolError

_UNUSABLE: Final = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit status."""
    parser = argparse.ArgumentParser(
        prog="drumkeep-gateway", description="Publishes what sensors measure."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    playing = commands.add_parser(
        "simulate",
        help="publish what the sensors of a scenario would have measured",
        description=scenario.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    playing.add_argument("file", metavar="FILE", type=Path, help="the scenario, TOML or JSON")
    playing.add_argument("--verbose", action="store_true", help="tell each pack")
    playing.set_defaults(run=_simulate)
    given = parser.parse_args(arguments)
    status: int = given.run(given)
    return status


def _simulate(given: argparse.Namespace) -> int:
    logging.basicConfig(
        level=logging.INFO if given.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(message)s",
    )
    stopping = Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopping.set())
    try:
        simulate(given.file, stopping=stopping, clock=time.time)  # noqa: TID251 - the edge
    except (ScenarioError, SpoolError) as error:
        print(f"drumkeep-gateway: {error}", file=sys.stderr)  # noqa: T201 - for a person
        return _UNUSABLE
    return 0
