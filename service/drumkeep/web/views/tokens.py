"""Tokens and linked company accounts as the pages show them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

from pydantic import BaseModel, Field

from drumkeep.asgi.authentication import Caller
from drumkeep.domain.roles import Scope
from drumkeep.operations import company_sign_in, tokens
from drumkeep.storage import accounts as rows
from drumkeep.storage.tables.accounts import Token
from drumkeep.storage.transaction import Tx

_MOST: Final = 1000

LASTING: Final = ((30, "30 days"), (90, "90 days"), (365, "a year"), (1825, "five years"))
"""How long a new token may hold, in days; none holds for ever."""

SCOPE_WORDS: Final = {
    Scope.READ: "read",
    Scope.RECORD: "record of drums and alarms",
    Scope.INGEST: "send readings and forecasts",
    Scope.MANAGE: "manage everything else",
}


class TokenForm(BaseModel):
    """A new token as the form sends it."""

    csrf: str = ""
    name: Annotated[str, Field(max_length=400)] = ""
    role: Annotated[str, Field(max_length=40)] = ""
    scopes: Annotated[list[Annotated[str, Field(max_length=40)]], Field(max_length=9)] = []
    days: Annotated[int, Field(ge=1, le=1825)] = 90


NOTHING_TYPED: Final = TokenForm(scopes=[Scope.READ])


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenLine:
    """A token: ``owner`` whose own it is, ``holds`` whether it still opens anything."""

    id: int
    name: str
    owner: str | None
    role: str
    good_to: str
    made_at: datetime
    made_by: str | None
    expires_at: datetime | None
    last_used_at: datetime | None
    revoked_at: datetime | None
    holds: bool


@dataclass(frozen=True, slots=True)
class MadeToken:
    """A token just made, with its secret: the only time that it is shown."""

    name: str
    secret: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityLine:
    """A company account that opens the asker's here."""

    id: int
    words: str
    since: datetime
    last_used_at: datetime


def token_lines(tx: Tx, *, now: datetime) -> list[TokenLine]:
    """Return all tokens, those that hold first."""
    return _lines(tx, rows.list_tokens(tx, limit=_MOST), now=now)


def own_token_lines(tx: Tx, *, caller: Caller, now: datetime) -> list[TokenLine]:
    """Return the asker's own tokens, those that hold first."""
    if caller.account_id is None:
        return []
    return _lines(tx, rows.own_tokens(tx, account_id=caller.account_id), now=now)


def made_view(made: tuple[str, str] | None) -> MadeToken | None:
    """Return what is shown of a token just made."""
    return None if made is None else MadeToken(*made)


def identity_lines(tx: Tx, *, caller: Caller) -> list[IdentityLine]:
    """Return the company accounts that open the asker's."""
    if caller.account_id is None:
        return []
    return [
        IdentityLine(
            id=row.id,
            words=row.email or row.subject,
            since=row.created_at,
            last_used_at=row.last_used_at,
        )
        for row in company_sign_in.identities_of(tx, account_id=caller.account_id)
    ]


def _lines(tx: Tx, found: Sequence[Token], *, now: datetime) -> list[TokenLine]:
    ids = [i for row in found for i in (row.account_id, row.created_by)]
    people = rows.accounts_by_id(tx, ids=ids)
    lines = []
    for row in found:
        owner = None if row.account_id is None else people[row.account_id]
        ended = row.expires_at is not None and row.expires_at <= now
        scopes = tokens.scopes_of(row)
        lines.append(
            TokenLine(
                id=row.id,
                name=row.name,
                owner=None if owner is None else owner.display_name,
                role=row.role if owner is None else owner.role,
                good_to=", ".join(SCOPE_WORDS[scope] for scope in Scope if scope in scopes),
                made_at=row.created_at,
                made_by=None if row.created_by is None else people[row.created_by].display_name,
                expires_at=row.expires_at,
                last_used_at=row.last_used_at,
                revoked_at=row.revoked_at,
                holds=row.revoked_at is None
                and not ended
                and (owner is None or owner.disabled_at is None),
            )
        )
    return sorted(lines, key=lambda line: (not line.holds, line.name.lower()))
