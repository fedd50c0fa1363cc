"""``drumkeep gateway``: what gateways sign in with at the broker."""

import argparse
import sys
from datetime import UTC, datetime

from drumkeep.app import make_broker_files
from drumkeep.asgi.broker import bring_up_to_date
from drumkeep.cli.store import opened
from drumkeep.errors import Fault, Invalid
from drumkeep.notify.broker_access import username
from drumkeep.operations import gateway_credentials
from drumkeep.settings import Settings, load
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import transaction


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("gateway", help="give gateways passwords at the broker")
    actions = parser.add_subparsers(metavar="ACTION", required=True)
    credential = actions.add_parser(
        "credential", help="make a gateway's password, in place of any it had, and show it once"
    )
    credential.add_argument("site", help="the site's code")
    credential.add_argument("gateway", help="the gateway's code")
    credential.add_argument(
        "--revoke", action="store_true", help="take its password away; ends its connection"
    )
    credential.set_defaults(act=_credential)
    files = actions.add_parser("files", help="write the broker's files anew where they differ")
    files.set_defaults(act=_files)
    for action in (credential, files):
        action.add_argument("--data-dir", help="where the database is kept")
        action.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = load(data_dir=arguments.data_dir)
    with opened(settings) as engine:
        arguments.act(arguments, settings, engine)
    return 0


def _credential(arguments: argparse.Namespace, settings: Settings, engine: Engine) -> None:
    files = make_broker_files(settings)
    if files is None:
        raise _no_folder()
    site, code = arguments.site, arguments.gateway
    now = datetime.now(UTC)  # noqa: TID251 - the edge
    name = username(site=site, gateway=code)
    with transaction(engine) as tx:
        if arguments.revoke:
            gateway_credentials.revoke_credential(tx, site=site, code=code, now=now)
            told = f"{name} has no password any more.\n"
        else:
            password = gateway_credentials.make_credential(
                tx, site=site, code=code, by=None, now=now
            )
            told = f"username {name}\npassword {password}\n"
    bring_up_to_date(files, engine)
    sys.stdout.write(told)


def _files(_arguments: argparse.Namespace, settings: Settings, engine: Engine) -> None:
    files = make_broker_files(settings)
    if files is None:
        raise _no_folder()
    changed = bring_up_to_date(files, engine)
    sys.stdout.write("The broker's files were written.\n" if changed else "Nothing differed.\n")


def _no_folder() -> Invalid:
    return Invalid(
        "The broker's files cannot be written.",
        [
            Fault(
                "DRUMKEEP_BROKER_FOLDER",
                None,
                "is not set",
                "Set it to the folder that the broker reads (deploy/mosquitto/README.md).",
            )
        ],
    )
