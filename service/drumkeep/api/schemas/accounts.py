"""Accounts, sessions and tokens as sent and answered."""

from typing import Annotated

from pydantic import Field

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, Moment, MomentOut

Language = Annotated[str, Field(max_length=8)]
"""ISO 639-1 code of a language of the interface; empty for what the browser asks for."""

Password = Annotated[str, Field(max_length=1000)]


class AccountIn(Body):
    """A new account of a person; a temporary password is good for choosing one's own only."""

    name: Line
    display_name: Line
    role: Line
    password: Password
    temporary: bool = True
    units: Line = "us"
    language: Language = ""


class AccountPatch(Body):
    """What may change; a new password or role, or disabling, ends the account's sessions.

    ``temporary`` goes with a password, and is true if left out, save for one's own account.
    """

    display_name: Line = LEFT_OUT
    role: Line = LEFT_OUT
    units: Line = LEFT_OUT
    language: Language = LEFT_OUT
    password: Password = LEFT_OUT
    temporary: bool = LEFT_OUT
    disabled: bool = LEFT_OUT


class AccountOut(Answer):
    """An account."""

    id: int
    name: str
    display_name: str
    role: str
    units: str
    language: str
    temporary: bool
    created_at: MomentOut
    disabled_at: MomentOut | None


class SignInIn(Body):
    """Name and password; where that one is temporary, a new one of one's own as well."""

    name: Line
    password: Password
    new_password: Password | None = None


class SessionPatch(Body):
    """What people may change on their own account; a password needs the one until now."""

    display_name: Line = LEFT_OUT
    units: Line = LEFT_OUT
    language: Language = LEFT_OUT
    current_password: Password = LEFT_OUT
    new_password: Password = LEFT_OUT


class SessionOut(Answer):
    """Who is asking; ``csrf`` goes into the header X-CSRF-Token, and is null for a token."""

    name: str
    display_name: str
    role: str
    units: str
    language: str
    csrf: str | None


class TokenIn(Body):
    """A new bearer token of an integration; without scopes it is good for all its role may."""

    name: Line
    role: Line
    expires_at: Moment | None = None
    scopes: Annotated[list[Line], Field(min_length=1, max_length=9)] | None = None


class TokenPatch(Body):
    """What may change; revoking is for good."""

    name: Line = LEFT_OUT
    revoked: bool = LEFT_OUT


class TokenOut(Answer):
    """A token, without its secret; ``owner`` whose own it is, and as whom it acts."""

    id: int
    name: str
    role: str
    scopes: list[str]
    owner: str | None
    created_by: str | None
    created_at: MomentOut
    expires_at: MomentOut | None
    last_used_at: MomentOut | None
    revoked_at: MomentOut | None


class TokenMade(TokenOut):
    """A token just made, with its secret: the only time that it is told."""

    secret: str
