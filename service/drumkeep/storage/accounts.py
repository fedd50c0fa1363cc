"""Queries on accounts, their sessions, and tokens."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlalchemy import delete, update
from sqlmodel import col, func, select

from drumkeep.storage.tables.accounts import (
    Account,
    ExternalIdentity,
    PhonePass,
    SignedIn,
    SignInAttempt,
    Token,
)
from drumkeep.storage.transaction import Tx

NO_PASSWORD: Final = "!"  # noqa: S105 - no password at all
"""Kept in place of a hash: no password opens the account."""


def add(
    tx: Tx, row: Account | SignedIn | PhonePass | Token | ExternalIdentity | SignInAttempt
) -> None:
    """Store a new row and give it its id."""
    tx.session.add(row)
    tx.session.flush()  # the id, and the constraints now rather than at the end


def account(tx: Tx, *, account_id: int) -> Account | None:
    """Return the account of this id."""
    return tx.session.get(Account, account_id)


def account_by_name(tx: Tx, *, name: str) -> Account | None:
    """Return the account that signs in under this name."""
    return tx.session.exec(select(Account).where(Account.name == name)).one_or_none()


def accounts_by_id(tx: Tx, *, ids: Sequence[int | None]) -> dict[int, Account]:
    """Return the accounts of these ids by id."""
    wanted = {i for i in ids if i is not None}
    rows = tx.session.exec(select(Account).where(col(Account.id).in_(wanted))).all()
    return {row.id: row for row in rows}


def list_accounts(tx: Tx, *, after: int = 0, limit: int = 200) -> Sequence[Account]:
    """Return accounts in the order in which they were made, past the id ``after``."""
    statement = select(Account).where(col(Account.id) > after)
    return tx.session.exec(statement.order_by(col(Account.id)).limit(limit)).all()


def count_enabled(tx: Tx, *, role: str) -> int:
    """Count accounts of this role that may sign in."""
    statement = select(func.count()).where(Account.role == role, col(Account.disabled_at).is_(None))
    return tx.session.exec(statement).one()


def signed_in(tx: Tx, *, session_id: str, now: datetime) -> Account | None:
    """Return whose session this is, if it still holds and the account may sign in."""
    statement = (
        select(Account)
        .join(SignedIn)
        .where(
            SignedIn.id == session_id,
            SignedIn.expires_at > now,
            col(SignedIn.ended_at).is_(None),
            col(Account.disabled_at).is_(None),
        )
    )
    return tx.session.exec(statement).one_or_none()


def end_session(tx: Tx, *, session_id: str, now: datetime) -> None:
    """End one session; nothing happens if it has ended."""
    # Row by row here and below, and not in one statement: what changes a row goes on record.
    found = tx.session.get(SignedIn, session_id)
    if found is not None and found.ended_at is None:
        found.ended_at = now


def end_sessions(tx: Tx, *, account_id: int, now: datetime) -> None:
    """End every session of an account."""
    for found in sessions_of(tx, account_ids=[account_id], now=now):
        found.ended_at = now


def sessions_of(tx: Tx, *, account_ids: Sequence[int], now: datetime) -> Sequence[SignedIn]:
    """Return the sessions of accounts that hold, the newest first."""
    statement = select(SignedIn).where(
        col(SignedIn.account_id).in_(account_ids),
        SignedIn.expires_at > now,
        col(SignedIn.ended_at).is_(None),
    )
    return tx.session.exec(statement.order_by(col(SignedIn.created_at).desc())).all()


def phone_pass(tx: Tx, *, digest: str, now: datetime) -> PhonePass | None:
    """Return the pass whose secret has this SHA-256, if it is neither used nor too old."""
    statement = select(PhonePass).where(
        PhonePass.hash == digest, PhonePass.expires_at > now, col(PhonePass.used_at).is_(None)
    )
    return tx.session.exec(statement).one_or_none()


def use_passes(tx: Tx, *, account_id: int, now: datetime) -> None:
    """Have no pass of an account that was made until now sign anything in any more."""
    where = (col(PhonePass.account_id) == account_id, col(PhonePass.used_at).is_(None))
    for found in tx.session.exec(select(PhonePass).where(*where, PhonePass.expires_at > now)):
        found.used_at = now


def signed_in_from(tx: Tx, *, account_id: int, address: str, since: datetime) -> bool:
    """Whether an account was signed in from this address since then."""
    statement = select(SignedIn.id).where(
        SignedIn.account_id == account_id,
        SignedIn.address == address,
        SignedIn.created_at >= since,
    )
    return tx.session.exec(statement.limit(1)).first() is not None


def token(tx: Tx, *, token_id: int) -> Token | None:
    """Return the token of this id."""
    return tx.session.get(Token, token_id)


def token_by_name(tx: Tx, *, name: str) -> Token | None:
    """Return the token of this name."""
    return tx.session.exec(select(Token).where(Token.name == name)).one_or_none()


def valid_token(tx: Tx, *, digest: str, now: datetime) -> Token | None:
    """Return the token whose secret has this SHA-256, if it is neither revoked nor expired."""
    statement = select(Token).where(Token.hash == digest, col(Token.revoked_at).is_(None))
    found = tx.session.exec(statement).one_or_none()
    if found is None or (found.expires_at is not None and found.expires_at <= now):
        return None
    return found


def own_tokens(tx: Tx, *, account_id: int) -> Sequence[Token]:
    """Return the tokens that are an account's own, the newest first."""
    statement = select(Token).where(Token.account_id == account_id)
    return tx.session.exec(statement.order_by(col(Token.id).desc())).all()


def use_token(tx: Tx, *, token_id: int, now: datetime) -> None:
    """Note that a token was used."""
    tx.session.execute(update(Token).where(col(Token.id) == token_id).values(last_used_at=now))


def list_tokens(tx: Tx, *, after: int = 0, limit: int = 200) -> Sequence[Token]:
    """Return tokens in the order in which they were made, past the id ``after``."""
    statement = select(Token).where(col(Token.id) > after)
    return tx.session.exec(statement.order_by(col(Token.id)).limit(limit)).all()


def external_identity(tx: Tx, *, issuer: str, subject: str) -> ExternalIdentity | None:
    """Return what somebody at a provider opens here."""
    statement = select(ExternalIdentity).where(
        ExternalIdentity.issuer == issuer, ExternalIdentity.subject == subject
    )
    return tx.session.exec(statement).one_or_none()


def identities_of(tx: Tx, *, account_id: int) -> Sequence[ExternalIdentity]:
    """Return who at a provider opens an account."""
    statement = select(ExternalIdentity).where(ExternalIdentity.account_id == account_id)
    return tx.session.exec(statement.order_by(col(ExternalIdentity.id))).all()


def remove_identity(tx: Tx, *, row: ExternalIdentity) -> None:
    """Have somebody at a provider open nothing here any more."""
    tx.session.delete(row)


def take_attempt(tx: Tx, *, state: str) -> SignInAttempt | None:
    """Return the attempt of this state's digest, and forget it."""
    found = tx.session.get(SignInAttempt, state)
    if found is not None:
        tx.session.delete(found)
    return found


def forget_attempts(tx: Tx, *, before: datetime) -> None:
    """Forget the attempts that ended before."""
    tx.session.execute(delete(SignInAttempt).where(col(SignInAttempt.expires_at) < before))
