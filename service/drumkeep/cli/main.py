"""The ``drumkeep`` command: reads arguments, calls the subcommand, and says errors plainly."""

import argparse
import gc
import getpass
import os
import secrets
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from importlib import import_module
from typing import Final

import drumkeep
from drumkeep.domain.audit import Doer, Way
from drumkeep.errors import DrumkeepError, Unavailable

SUBCOMMANDS: Final = {
    "serve": "serve",
    "demo": "demo",
    "account": "account",
    "gateway": "gateway",
    "forecast": "forecast",
    "import": "imports",
    "export": "exports",
    "move-store": "move_store",
}
"""Modules of this package; each has ``add_parser(subparsers)`` that sets ``run``."""

_NO_DEEDS: Final = frozenset({"serve", "demo", "forecast", "export"})
"""These change nothing by themselves: a service does what others ask of it."""


def make_parser(asked: str | None = None) -> argparse.ArgumentParser:
    """Make the parser of the command.

    Parameters
    ----------
    asked
        A subcommand: it alone is imported then, since some bring the whole service with them.
    """
    parser = argparse.ArgumentParser(
        prog="drumkeep",
        description="Knows how warm the liquid in every drum is, and what that makes it fit for.",
    )
    parser.add_argument("--version", action="version", version=drumkeep.__version__)
    subparsers = parser.add_subparsers(metavar="COMMAND", required=True)
    for name in (asked,) if asked in SUBCOMMANDS else SUBCOMMANDS:
        import_module(f"drumkeep.cli.{SUBCOMMANDS[name]}").add_parser(subparsers)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Returns
    -------
    int
        0 when done, 2 when it could not be done for a reason that was said, 75 (EX_TEMPFAIL of
        sysexits.h) when that reason may pass by itself.
    """
    given = sys.argv[1:] if arguments is None else list(arguments)
    # What is imported stays: to look through it for garbage meanwhile is a third of the start-up.
    gc.disable()
    parser = make_parser(next(iter(given), None))
    gc.enable()
    parsed = parser.parse_args(given)
    try:
        code = _run(parsed, command=next(iter(given), ""))
    except DrumkeepError as error:
        sys.stderr.write(f"drumkeep: {error}\n")
        return os.EX_TEMPFAIL if isinstance(error, Unavailable) else 2
    except KeyboardInterrupt:
        return 130
    return code


def _run(parsed: argparse.Namespace, *, command: str) -> int:
    """Run a command as the deed of whoever called it."""
    run: Callable[[argparse.Namespace], int] = parsed.run
    if command in _NO_DEEDS:
        return run(parsed)
    # Only now: it brings the database's libraries with it, and such a command does so anyway.
    from drumkeep.storage.audit_trail import acting  # noqa: PLC0415

    person = Doer(
        at=datetime.now(UTC),  # noqa: TID251 - the edge
        deed=secrets.token_hex(8),
        name=_who(),
        way=Way.COMMAND,
        device=f"drumkeep {command}",
    )
    with acting(person):
        return run(parsed)


def _who() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container's user has no name
        return f"user {os.getuid()}"
