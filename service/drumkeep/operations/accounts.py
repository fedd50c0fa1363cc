"""Accounts of people: make them, change them, and never lock the last manager out."""

from collections.abc import Mapping
from datetime import datetime
from functools import cache
from typing import Final, TypedDict

from pwdlib import PasswordHash
from pwdlib.exceptions import UnknownHashError

from drumkeep.domain.checks import Checks
from drumkeep.domain.roles import Role
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.language.tongue import LANGUAGES
from drumkeep.storage import accounts as stored
from drumkeep.storage.accounts import NO_PASSWORD
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.transaction import Tx

UNITS: Final = {"us": "°F and lb", "si": "°C and kg"}
SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 200

_HASHES: Final = PasswordHash.recommended()


class AccountChanges(TypedDict, total=False):
    """What may change on an account; ``temporary`` goes with ``password``."""

    display_name: str
    role: str
    units: str
    language: str
    password: str
    temporary: bool
    disabled: bool


def create_account(
    tx: Tx,
    *,
    name: str,
    display_name: str,
    role: str,
    password: str | None,
    temporary: bool = False,
    units: str = "us",
    language: str = "",
    now: datetime,
) -> Account:
    """Make an account; without a password one signs in by phone code or a company's account.

    A ``temporary`` password is good for choosing one's own only.

    Raises
    ------
    Invalid
        Name, role, units, language or password cannot be used.
    Conflict
        The name is taken.
    """
    checks = Checks()
    checks.code("name", name)
    given = {"display_name": display_name, "role": role, "units": units, "language": language}
    _check(checks, given if password is None else given | {"password": password})
    checks.raise_faults("The account cannot be made.")
    if stored.account_by_name(tx, name=name) is not None:
        raise Conflict(
            "The account exists already.",
            [Fault("name", name, "is taken", "Choose another name, or change that account.")],
        )
    account = Account(
        name=name,
        display_name=display_name,
        role=role,
        password_hash=NO_PASSWORD if password is None else _HASHES.hash(password),
        temporary=temporary and password is not None,
        units=units,
        language=language,
        created_at=now,
    )
    stored.add(tx, account)
    return account


def change_account(tx: Tx, *, account_id: int, changes: AccountChanges, now: datetime) -> Account:
    """Change an account; a new password, role or disabling ends its sessions.

    Raises
    ------
    NotFound
        There is no such account.
    Invalid
        A value cannot be used.
    Conflict
        It would leave no manager who can sign in.
    """
    account = account_of(tx, account_id=account_id)
    checks = Checks()
    _check(checks, changes)
    if "temporary" in changes and "password" not in changes:
        checks.add(
            "temporary",
            changes["temporary"],
            "comes without a password",
            "Give the password that it is about.",
        )
    checks.raise_faults("The account cannot be changed.")
    _keep_a_manager(tx, account, changes)
    account.display_name = changes.get("display_name", account.display_name)
    account.units = changes.get("units", account.units)
    account.language = changes.get("language", account.language)
    ends = "password" in changes
    if "password" in changes:
        account.password_hash = _HASHES.hash(changes["password"])
        account.temporary = changes.get("temporary", False)
    if changes.get("role", account.role) != account.role:
        account.role = changes["role"]
        ends = True
    if "disabled" in changes and changes["disabled"] != (account.disabled_at is not None):
        account.disabled_at = now if changes["disabled"] else None
        ends = True
    if ends:
        stored.end_sessions(tx, account_id=account_id, now=now)
        stored.use_passes(tx, account_id=account_id, now=now)
    return account


def account_of(tx: Tx, *, account_id: int) -> Account:
    """Return an account.

    Raises
    ------
    NotFound
        There is none of this id.
    """
    account = stored.account(tx, account_id=account_id)
    if account is None:
        raise NotFound(
            "There is no such account.",
            [Fault("account", account_id, "is not known", "See the list of accounts.")],
        )
    return account


def account_named(tx: Tx, *, name: str) -> Account:
    """Return the account that signs in under this name.

    Raises
    ------
    NotFound
        There is none.
    """
    account = stored.account_by_name(tx, name=name)
    if account is None:
        raise NotFound(
            "There is no such account.",
            [Fault("name", name, "is not known", "See the list of accounts.")],
        )
    return account


def password_holds(account: Account | None, *, password: str) -> bool:
    """Whether the password is this account's; as slow where there is none to hold.

    It takes tens of milliseconds on purpose: call it outside of a writing transaction.
    """
    if len(password) > LONGEST_PASSWORD:
        return False
    kept = NO_PASSWORD if account is None else account.password_hash
    try:
        holds = _HASHES.verify(password, _nobody() if kept == NO_PASSWORD else kept)
    except UnknownHashError:
        return False
    return holds and account is not None and kept != NO_PASSWORD and account.disabled_at is None


# Looking a password up takes as long for a name that does not exist. Made at the first need: it
# takes tens of milliseconds.
@cache
def _nobody() -> str:
    return _HASHES.hash("nobody signs in with this")


def _check(checks: Checks, changes: Mapping[str, object] | AccountChanges) -> None:
    for name, value in changes.items():
        if name == "display_name":
            checks.text(name, str(value))
        elif name == "role":
            checks.one_of(name, str(value), Role)
        elif name == "units":
            checks.word(name, str(value), UNITS)
        elif name == "language" and value:
            checks.word(name, str(value), LANGUAGES)
        elif name == "password":
            _check_password(checks, str(value))


def _check_password(checks: Checks, password: str) -> None:
    if len(password) < SHORTEST_PASSWORD:
        checks.add(
            "password",
            None,
            f"has fewer than {SHORTEST_PASSWORD} characters",
            "Three words that do not belong together are easy to keep and hard to guess.",
        )
    elif len(password) > LONGEST_PASSWORD:
        checks.add(
            "password",
            None,
            f"has more than {LONGEST_PASSWORD} characters",
            f"Use at most {LONGEST_PASSWORD}.",
        )


def _keep_a_manager(tx: Tx, account: Account, changes: AccountChanges) -> None:
    is_one = account.role == Role.MANAGER and account.disabled_at is None
    stays = changes.get("role", account.role) == Role.MANAGER and not changes.get("disabled", False)
    if is_one and not stays and stored.count_enabled(tx, role=Role.MANAGER) == 1:
        field = "role" if "role" in changes else "disabled"
        raise Conflict(
            "Nobody could manage drumkeep any more.",
            [
                Fault(
                    field,
                    changes.get("role") if field == "role" else changes.get("disabled"),
                    "would leave no manager who can sign in",
                    "Make somebody else a manager first.",
                )
            ],
        )
