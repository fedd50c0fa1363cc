"""``drumkeep-gateway``: what runs on a gateway."""

import argparse
import logging
import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from threading import Event
from typing import Final

from drumkeep_sensors import gateway, scenario
from drumkeep_sensors.configuration import ConfigurationError
from drumkeep_sensors.readings_spool import SpoolError
from drumkeep_sensors.scenario import ScenarioError
from drumkeep_sensors.simulate import simulate

_INCOMPLETE: Final = 1
_UNUSABLE: Final = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit status."""
    parser = argparse.ArgumentParser(
        prog="drumkeep-gateway", description="Publishes what sensors measure."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    running = commands.add_parser("run", help="sample the sensors of a configuration and publish")
    running.add_argument("file", metavar="FILE", type=Path, help="the configuration, TOML")
    running.add_argument("--verbose", action="store_true", help="tell more")
    running.set_defaults(run=_run)
    checking = commands.add_parser(
        "check",
        help="check a configuration, read each sensor once, and print what would be sent",
        description="Nothing is sent. The exit status is 1 when a sensor gives no reading.",
    )
    checking.add_argument("file", metavar="FILE", type=Path, help="the configuration, TOML")
    checking.set_defaults(run=_check)
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
    try:
        status: int = given.run(given)
    except (ConfigurationError, ScenarioError, SpoolError) as error:
        print(f"drumkeep-gateway: {error}", file=sys.stderr)  # noqa: T201 - for a person
        # A full medium may have room later, and systemd tries again; a wrong file stays wrong.
        return os.EX_TEMPFAIL if isinstance(error, SpoolError) else _UNUSABLE
    return status


def _run(given: argparse.Namespace) -> int:
    gateway.run(given.file, stopping=_until_stopped(given), clock=time.time)  # noqa: TID251 - edge
    return 0


def _check(given: argparse.Namespace) -> int:
    lines, complete = gateway.check(given.file, clock=time.time)  # noqa: TID251 - the edge
    print("\n".join(lines))  # noqa: T201 - for a person
    return 0 if complete else _INCOMPLETE


def _simulate(given: argparse.Namespace) -> int:
    simulate(given.file, stopping=_until_stopped(given), clock=time.time)  # noqa: TID251 - the edge
    return 0


def _until_stopped(given: argparse.Namespace) -> Event:
    """Set up the log, and return what SIGTERM and SIGINT set."""
    logging.basicConfig(
        level=logging.INFO if given.verbose else logging.WARNING,
        format="%(asctime)s %(levelname)s %(message)s",
    )
    stopping = Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopping.set())
    return stopping
