"""Signed-in sessions of people."""

import secrets
from datetime import datetime, timedelta
from typing import Final

from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Account, SignedIn
from drumkeep.storage.transaction import Tx

LIFETIME: Final = timedelta(days=30)
"""A crew's phone stays signed in for a month; ending a session or an account cuts it short."""


def start_session(tx: Tx, *, account: Account, user_agent: str, now: datetime) -> SignedIn:
    """Start a session of an account whose password was just checked."""
    session = SignedIn(
        id=secrets.token_urlsafe(32),
        account_id=account.id,
        created_at=now,
        expires_at=now + LIFETIME,
        user_agent=user_agent[:200],
    )
    stored.add(tx, session)
    return session


def find(tx: Tx, *, session_id: str, now: datetime) -> Account | None:
    """Return whose session this is; None if it has ended or the account may not sign in."""
    return stored.signed_in(tx, session_id=session_id, now=now)


def end_session(tx: Tx, *, session_id: str, now: datetime) -> None:
    """End a session."""
    stored.end_session(tx, session_id=session_id, now=now)
