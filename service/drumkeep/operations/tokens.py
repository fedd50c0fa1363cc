"""Bearer tokens: of an integration or somebody's own, shown once, kept as a hash."""

import hashlib
import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.domain.roles import ALL_SCOPES, Role, Scope
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Token
from drumkeep.storage.transaction import Tx

PREFIX: Final = "drumkeep_"
"""Lets a person, or a scanner of leaked secrets, see what a token is for."""

USED_EVERY: Final = timedelta(minutes=10)
"""How exactly it is known when a token was last used: a write for each use would be too many."""


class TokenChanges(TypedDict, total=False):
    """What may change on a token; its role may not, and revoking is for good."""

    name: str
    revoked: bool


def create_token(
    tx: Tx,
    *,
    name: str,
    role: str,
    created_by: int | None,
    expires_at: datetime | None = None,
    scopes: Collection[str] | None = None,
    owner: int | None = None,
    now: datetime,
) -> tuple[Token, str]:
    """Make a token; return it and its secret, which nobody can be told again.

    Parameters
    ----------
    scopes
        What it is good for; None: for all that its role may.
    owner
        Account whose own it is: it may what that account may, whatever ``role`` says by then.

    Raises
    ------
    Invalid
        Name, role, scopes or end cannot be used.
    Conflict
        The name is taken.
    """
    checks = Checks()
    checks.text("name", name)
    checks.one_of("role", role, Role)
    for scope in scopes or ():
        checks.one_of("scopes", scope, Scope)
    if scopes is not None and not scopes:
        checks.add("scopes", None, "name nothing", f"Name one or more of {', '.join(Scope)}.")
    if expires_at is not None and expires_at <= now:
        checks.add("expires_at", expires_at.isoformat(), "is past", "Give a time to come.")
    checks.raise_faults("The token cannot be made.")
    _refuse_taken(tx, name=name)
    secret = PREFIX + secrets.token_urlsafe(32)
    token = Token(
        name=name,
        role=role,
        hash=_digest(secret),
        created_by=created_by,
        created_at=now,
        expires_at=expires_at,
        account_id=owner,
        scopes=None if scopes is None else " ".join(s for s in Scope if s in scopes),
    )
    stored.add(tx, token)
    return token, secret


def change_token(tx: Tx, *, token_id: int, changes: TokenChanges, now: datetime) -> Token:
    """Rename or revoke a token.

    Raises
    ------
    NotFound
        There is no such token.
    Invalid
        The name cannot be used, or a revoked token would live again.
    Conflict
        The name is taken.
    """
    token = token_of(tx, token_id=token_id)
    checks = Checks()
    if "name" in changes:
        checks.text("name", changes["name"])
    if token.revoked_at is not None and changes.get("revoked") is False:
        checks.add("revoked", changes["revoked"], "cannot be undone", "Make a new token.")
    checks.raise_faults("The token cannot be changed.")
    if "name" in changes and changes["name"] != token.name:
        _refuse_taken(tx, name=changes["name"])
        token.name = changes["name"]
    if changes.get("revoked") and token.revoked_at is None:
        token.revoked_at = now
    return token


def token_of(tx: Tx, *, token_id: int) -> Token:
    """Return a token.

    Raises
    ------
    NotFound
        There is none of this id.
    """
    token = stored.token(tx, token_id=token_id)
    if token is None:
        raise NotFound(
            "There is no such token.",
            [Fault("token", token_id, "is not known", "See the list of tokens.")],
        )
    return token


def revoke_own(tx: Tx, *, token_id: int, account_id: int, now: datetime) -> None:
    """Revoke a token that is the account's own.

    Raises
    ------
    NotFound
        It has no such token.
    """
    token = token_of(tx, token_id=token_id)
    if token.account_id != account_id:
        raise NotFound(
            "There is no such token.",
            [Fault("token", token_id, "is not yours", "See the list of your tokens.")],
        )
    change_token(tx, token_id=token_id, changes={"revoked": True}, now=now)


def find(tx: Tx, *, secret: str, now: datetime) -> tuple[Token, Role] | None:
    """Return the token of this secret and as what it acts; None if there is none that holds.

    Somebody's own acts as that account does now, and not at all once it may not sign in.
    """
    token = stored.valid_token(tx, digest=_digest(secret), now=now)
    if token is None:
        return None
    if token.account_id is None:
        return token, Role(token.role)
    owner = stored.account(tx, account_id=token.account_id)
    if owner is None or owner.disabled_at is not None:
        return None
    return token, Role(owner.role)


def scopes_of(token: Token) -> frozenset[Scope]:
    """Return what a token is good for."""
    return ALL_SCOPES if token.scopes is None else frozenset(map(Scope, token.scopes.split()))


def is_use_news(token: Token, *, now: datetime) -> bool:
    """Whether this use of a token is worth noting."""
    return token.last_used_at is None or now - token.last_used_at >= USED_EVERY


def _digest(secret: str) -> str:
    # 256 random bits need no slow hash.
    return hashlib.sha256(secret.encode()).hexdigest()


def _refuse_taken(tx: Tx, *, name: str) -> None:
    if stored.token_by_name(tx, name=name) is not None:
        raise Conflict(
            "The token exists already.",
            [Fault("name", name, "is taken", "Choose another name.")],
        )
