"""Bearer tokens: one per integration, shown once, kept as a hash."""

import hashlib
import secrets
from datetime import datetime
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.domain.roles import Role
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Token
from drumkeep.storage.transaction import Tx

PREFIX: Final = "drumkeep_"
"""Lets a person, or a scanner of leaked secrets, see what a token is for."""


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
    now: datetime,
) -> tuple[Token, str]:
    """Make a token; return it and its secret, which nobody can be told again.

    Raises
    ------
    Invalid
        Name, role or end cannot be used.
    Conflict
        The name is taken.
    """
    checks = Checks()
    checks.text("name", name)
    checks.one_of("role", role, Role)
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


def find(tx: Tx, *, secret: str, now: datetime) -> Token | None:
    """Return the token of this secret; None if there is none that holds."""
    return stored.valid_token(tx, digest=_digest(secret), now=now)


def _digest(secret: str) -> str:
    # 256 random bits need no slow hash.
    return hashlib.sha256(secret.encode()).hexdigest()


def _refuse_taken(tx: Tx, *, name: str) -> None:
    if stored.token_by_name(tx, name=name) is not None:
        raise Conflict(
            "The token exists already.",
            [Fault("name", name, "is taken", "Choose another name.")],
        )
