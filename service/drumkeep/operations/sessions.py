"""Signed-in sessions of people, and passes that sign a phone in without a password."""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.errors import Fault, NotFound, Unauthenticated
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Account, PhonePass, SignedIn
from drumkeep.storage.transaction import Tx

LIFETIME: Final = timedelta(days=30)
"""Of a session begun with a password; ending it or its account cuts it short."""

PHONE_LIFETIME: Final = timedelta(days=60)
"""Of one begun with a pass: nobody types a password with gloves on."""

PASS_LIFETIME: Final = timedelta(minutes=15)
"""Long enough to walk over to the phone, and no longer."""

_HANDLE: Final = 16


def start_session(
    tx: Tx,
    *,
    account: Account,
    user_agent: str,
    now: datetime,
    address: str = "",
    lifetime: timedelta = LIFETIME,
) -> SignedIn:
    """Start a session of an account whose password, or pass, was just checked."""
    session = SignedIn(
        id=secrets.token_urlsafe(32),
        account_id=account.id,
        created_at=now,
        expires_at=now + lifetime,
        user_agent=user_agent[:200],
        address=address[:64],
    )
    stored.add(tx, session)
    return session


def find(tx: Tx, *, session_id: str, now: datetime) -> Account | None:
    """Return whose session this is; None if it has ended or the account may not sign in."""
    return stored.signed_in(tx, session_id=session_id, now=now)


def sign_out(tx: Tx, *, session_id: str, now: datetime) -> None:
    """End one's own session."""
    stored.end_session(tx, session_id=session_id, now=now)
    tx.call_deed("signed out")


def handle_of(session: SignedIn) -> str:
    """Return what names a session to people; its id would be as good as a password."""
    return handle(session.id)


def handle(session_id: str) -> str:
    """Return what names the session of this id to people."""
    return _digest(session_id)[:_HANDLE]


def sessions_of(tx: Tx, *, account_ids: Sequence[int], now: datetime) -> Sequence[SignedIn]:
    """Return the sessions of accounts that hold, the newest first."""
    return stored.sessions_of(tx, account_ids=account_ids, now=now)


def end_named(tx: Tx, *, account: Account, handle: str, now: datetime) -> None:
    """End the session of an account that people are shown under this handle.

    Raises
    ------
    NotFound
        There is none, or it has ended already.
    """
    for session in sessions_of(tx, account_ids=[account.id], now=now):
        if handle_of(session) == handle:
            stored.end_session(tx, session_id=session.id, now=now)
            return
    raise NotFound(
        "There is no such session.",
        [Fault("session", handle, "is not known or has ended", "Load the list again.")],
    )


def make_pass(
    tx: Tx, *, account: Account, made_by: int | None, now: datetime
) -> tuple[PhonePass, str]:
    """Make a pass; return it and its secret, which nobody can be told again.

    Earlier passes of the account that were not used hold no more.

    Raises
    ------
    NotFound
        The account may not sign in.
    """
    if account.disabled_at is not None:
        mend = "Let the person in again first."
        fault = Fault("name", account.name, "may not sign in", mend)
        raise NotFound("That account is closed.", [fault])
    stored.use_passes(tx, account_id=account.id, now=now)
    secret = secrets.token_urlsafe(24)
    made = PhonePass(
        hash=_digest(secret),
        account_id=account.id,
        created_by=made_by,
        created_at=now,
        expires_at=now + PASS_LIFETIME,
    )
    stored.add(tx, made)
    return made, secret


def holder_of(tx: Tx, *, secret: str, now: datetime) -> Account:
    """Return whom a pass signs in; it stays unused.

    Raises
    ------
    Unauthenticated
        It is none, was used, or is too old.
    """
    found = stored.phone_pass(tx, digest=_digest(secret), now=now)
    account = None if found is None else stored.account(tx, account_id=found.account_id)
    if account is None or account.disabled_at is not None:
        raise Unauthenticated("This code was used or is too old. Ask for a new one.")
    return account


def use_pass(
    tx: Tx, *, secret: str, user_agent: str, address: str = "", now: datetime
) -> tuple[Account, SignedIn]:
    """Sign a phone in by a pass, which then holds no more.

    Raises
    ------
    Unauthenticated
        It is none, was used, or is too old.
    """
    account = holder_of(tx, secret=secret, now=now)
    stored.use_passes(tx, account_id=account.id, now=now)
    started = start_session(
        tx,
        account=account,
        user_agent=user_agent,
        address=address,
        now=now,
        lifetime=PHONE_LIFETIME,
    )
    tx.call_deed("signed in by a phone code")
    return account, started


def _digest(secret: str) -> str:
    # As many random bits need no slow hash.
    return hashlib.sha256(secret.encode()).hexdigest()
