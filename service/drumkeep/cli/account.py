"""``drumkeep account``: the first manager, and a way back in for who forgot a password."""

import argparse
import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from drumkeep.cli.store import opened
from drumkeep.domain.roles import Role
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import accounts
from drumkeep.settings import load
from drumkeep.storage.transaction import Tx, transaction


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser("account", help="make an account or reset its password")
    actions = parser.add_subparsers(metavar="ACTION", required=True)
    create = actions.add_parser("create", help="make an account; the first one is the manager's")
    create.add_argument("name", help="what the person signs in with")
    create.add_argument("--display-name", help="as people call them; the name if left out")
    create.add_argument("--role", choices=[*Role], default=Role.MANAGER)
    create.add_argument("--units", choices=[*accounts.UNITS], default="us")
    create.set_defaults(run=_create)
    reset = actions.add_parser("password", help="set a new password; ends all sessions")
    reset.add_argument("name")
    reset.set_defaults(run=_reset)
    for action in (create, reset):
        action.add_argument("--data-dir", help="where the database is kept")
        action.add_argument(
            "--password-stdin",
            action="store_true",
            help="read the password from standard input instead of asking for it",
        )


def _create(arguments: argparse.Namespace) -> int:
    password = _password(from_stdin=arguments.password_stdin)
    with _transaction(arguments) as tx:
        account = accounts.create_account(
            tx,
            name=arguments.name,
            display_name=arguments.display_name or arguments.name,
            role=arguments.role,
            password=password,
            units=arguments.units,
            now=_now(),
        )
    sys.stdout.write(f"{account.name} can sign in as {account.role}.\n")
    return 0


def _reset(arguments: argparse.Namespace) -> int:
    password = _password(from_stdin=arguments.password_stdin)
    with _transaction(arguments) as tx:
        account = accounts.account_named(tx, name=arguments.name)
        accounts.change_account(
            tx, account_id=account.id, changes={"password": password}, now=_now()
        )
    sys.stdout.write(f"{arguments.name} has a new password; all sessions have ended.\n")
    return 0


def _password(*, from_stdin: bool) -> str:
    # Never an argument: those stand in the list of processes for all to see.
    if from_stdin:
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != password:
        raise Invalid(
            "The password was not set.",
            [Fault("password", None, "was typed in two ways", "Type it again.")],
        )
    return password


@contextmanager
def _transaction(arguments: argparse.Namespace) -> Iterator[Tx]:
    with opened(load(data_dir=arguments.data_dir)) as engine, transaction(engine) as tx:
        yield tx


def _now() -> datetime:
    return datetime.now(UTC)  # noqa: TID251 - the edge
