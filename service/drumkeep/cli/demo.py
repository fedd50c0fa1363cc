"""``drumkeep demo``: a small invented company to look at, with service, broker and gateways."""

import argparse
from pathlib import Path
from typing import Final

from drumkeep.demo.folder import DEFAULT, Folder
from drumkeep.demo.ports import refuse_taken
from drumkeep.demo.supervisor import Demo

_PORT: Final = 8055
_PORTS: Final = range(1, 65_536)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "demo", help="show drumkeep at work, with an invented company and simulated sensors"
    )
    parser.add_argument("--fresh", action="store_true", help="start over, forgetting all data")
    parser.add_argument(
        "--port", type=_port, default=_PORT, help=f"where pages are served; {_PORT} by default"
    )
    parser.add_argument(
        "--data-dir", type=Path, default=DEFAULT, help=f"the demo's own folder; {DEFAULT}"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the demo until told to end."""
    refuse_taken(arguments.port)
    with Folder(arguments.data_dir) as folder:
        if arguments.fresh:
            folder.clear()
        return Demo(folder=folder, port=arguments.port).run()


def _port(text: str) -> int:
    if not text.isdecimal() or int(text) not in _PORTS:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: give a number from 1 to 65535")
    return int(text)
