"""Signing in with a company's account: who was sent there, and whose account that opens here.

An account is known by issuer and subject and by nothing else: an e-mail address can pass to
somebody else, and links nothing.
"""

import hashlib
import hmac
import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import count
from typing import Final

from drumkeep.domain.company_sign_in import (
    Admission,
    Identity,
    account_name,
    display_name,
    is_from,
    role_at,
)
from drumkeep.errors import Conflict, Fault, NotFound, Refused, Unauthenticated
from drumkeep.operations import accounts
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Account, ExternalIdentity, SignInAttempt
from drumkeep.storage.transaction import Tx

LIFETIME: Final = timedelta(days=1)
"""Of a session: who leaves the company is shut out there, and here a day later."""

ATTEMPT_LIFETIME: Final = timedelta(minutes=10)
_OVER: Final = "This sign-in was used already, is too old, or began elsewhere. Begin again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What goes with somebody who is sent to the provider; ``browser`` stays in its cookie."""

    state: str
    nonce: str
    verifier: str
    browser: str


def begin(tx: Tx, *, next_page: str, account_id: int | None = None, now: datetime) -> Sent:
    """Note that somebody is sent to the provider; ``account_id`` wants to be linked."""
    sent = Sent(**{name: secrets.token_urlsafe(32) for name in Sent.__slots__})
    stored.forget_attempts(tx, before=now)
    stored.add(
        tx,
        SignInAttempt(
            state=_digest(sent.state),
            browser=_digest(sent.browser),
            nonce=sent.nonce,
            verifier=sent.verifier,
            next=next_page,
            account_id=account_id,
            expires_at=now + ATTEMPT_LIFETIME,
        ),
    )
    return sent


def take(tx: Tx, *, state: str, browser: str, now: datetime) -> SignInAttempt | None:
    """Return the attempt that somebody comes back with, once; None if it is not theirs or over."""
    found = stored.take_attempt(tx, state=_digest(state))
    if found is None or found.expires_at <= now:
        return None
    return found if hmac.compare_digest(found.browser, _digest(browser)) else None


def over() -> Unauthenticated:
    """Say that an attempt does not hold."""
    return Unauthenticated(_OVER)


def account_for(tx: Tx, *, identity: Identity, admission: Admission, now: datetime) -> Account:
    """Return the account that somebody opens; make one if unknown people are let in.

    Raises
    ------
    Refused
        They are not let in: of another domain, unknown, without a role, or shut out.
    """
    _refuse_strangers(identity, admission)
    known = stored.external_identity(tx, issuer=identity.issuer, subject=identity.subject)
    role = role_at(identity, admission=admission)
    if known is None:
        role = role or admission.unknown
        if role is None:
            raise Refused(
                "No account here belongs to your company's. Sign in with a password or a phone "
                "code and link it on your own page, or ask a manager."
            )
        account = _new_account(tx, identity, role=role, now=now)
        _link(tx, account=account, identity=identity, now=now)
        return account
    account = accounts.account_of(tx, account_id=known.account_id)
    if account.disabled_at is not None:
        raise Refused("Your account is closed. Ask a manager.")
    known.last_used_at, known.email = now, identity.email
    if admission.roles and role is None and admission.unknown is None:
        raise Refused("Your company's account has no role here any more. Ask a manager.")
    wanted = role or (admission.unknown if admission.roles else None)
    if wanted is not None and wanted != account.role:
        # The last manager stays one, whatever the provider says: nobody could mend it else.
        with suppress(Conflict):
            accounts.change_account(tx, account_id=account.id, changes={"role": wanted}, now=now)
    return account


def link(
    tx: Tx, *, account_id: int, identity: Identity, admission: Admission, now: datetime
) -> None:
    """Have somebody's company account open the account that they are signed in with.

    Raises
    ------
    Refused
        They are of another domain.
    Conflict
        It opens another account already.
    """
    _refuse_strangers(identity, admission)
    known = stored.external_identity(tx, issuer=identity.issuer, subject=identity.subject)
    if known is not None and known.account_id != account_id:
        mend = "Sign in with it, and unlink it on your own page there."
        raise Conflict(
            "It is linked already.",
            [Fault("company", None, "opens another account here", mend)],
        )
    if known is None:
        account = accounts.account_of(tx, account_id=account_id)
        _link(tx, account=account, identity=identity, now=now)


def unlink(tx: Tx, *, account_id: int, identity_id: int) -> None:
    """Have a company account open this account no more.

    Raises
    ------
    NotFound
        It does not.
    """
    for row in stored.identities_of(tx, account_id=account_id):
        if row.id == identity_id:
            stored.remove_identity(tx, row=row)
            return
    mend = "Load the page again."
    raise NotFound("It is not linked.", [Fault("id", identity_id, "is not linked here", mend)])


def identities_of(tx: Tx, *, account_id: int) -> Sequence[ExternalIdentity]:
    """Return the company accounts that open an account."""
    return stored.identities_of(tx, account_id=account_id)


def _refuse_strangers(identity: Identity, admission: Admission) -> None:
    if not is_from(identity, domains=admission.domains):
        raise Refused("Your company's account is of a domain that is not let in here.")


def _new_account(tx: Tx, identity: Identity, *, role: str, now: datetime) -> Account:
    base = account_name(identity)
    names = (base if number == 1 else f"{base}-{number}" for number in count(1))
    name = next(n for n in names if stored.account_by_name(tx, name=n) is None)
    return accounts.create_account(
        tx,
        name=name,
        display_name=display_name(identity),
        role=role,
        password=None,
        now=now,
    )


def _link(tx: Tx, *, account: Account, identity: Identity, now: datetime) -> None:
    stored.add(
        tx,
        ExternalIdentity(
            account_id=account.id,
            issuer=identity.issuer,
            subject=identity.subject,
            email=identity.email,
            created_at=now,
            last_used_at=now,
        ),
    )


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
