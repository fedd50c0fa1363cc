"""Queries on accounts, their sessions, and tokens."""

from collections.abc import Sequence
from datetime import datetime
from typing import cast

from sqlalchemy import CursorResult, update
from sqlmodel import col, func, select

from drumkeep.storage.tables.accounts import Account, PhonePass, SignedIn, Token
from drumkeep.storage.transaction import Tx


def add(tx: Tx, row: Account | SignedIn | PhonePass | Token) -> None:
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
    where = (col(SignedIn.id) == session_id, col(SignedIn.ended_at).is_(None))
    tx.session.execute(update(SignedIn).where(*where).values(ended_at=now))


def end_sessions(tx: Tx, *, account_id: int, now: datetime) -> int:
    """End every session of an account; return how many there were."""
    where = (col(SignedIn.account_id) == account_id, col(SignedIn.ended_at).is_(None))
    result = tx.session.execute(update(SignedIn).where(*where).values(ended_at=now))
    return cast("CursorResult[None]", result).rowcount


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
    tx.session.execute(update(PhonePass).where(*where).values(used_at=now))


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


def list_tokens(tx: Tx, *, after: int = 0, limit: int = 200) -> Sequence[Token]:
    """Return tokens in the order in which they were made, past the id ``after``."""
    statement = select(Token).where(col(Token.id) > after)
    return tx.session.exec(statement.order_by(col(Token.id)).limit(limit)).all()
