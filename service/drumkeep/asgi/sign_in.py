"""Signing in and out, for the API and the pages alike."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from drumkeep.asgi import authentication
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import caller_of, services
from drumkeep.asgi.origin import address_of, doer, neighbourhood
from drumkeep.errors import Fault, Invalid, Refused, Unauthenticated
from drumkeep.operations import accounts, sessions
from drumkeep.operations.accounts import AccountChanges
from drumkeep.storage import accounts as stored
from drumkeep.storage.audit_trail import acting
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.transaction import Tx

_T = TypeVar("_T")

CHIT_LIFETIME: Final = timedelta(minutes=15)
"""Long enough to think of a password."""

_REMEMBERED: Final = timedelta(days=60)
"""How long guessing from elsewhere keeps nobody out at an address where they signed in."""


@dataclass(frozen=True)
class SignedIn:
    """A person who has just signed in.

    Attributes
    ----------
    caller
        Who.
    csrf
        Token that this session's unsafe requests must repeat.
    """

    caller: Caller
    csrf: str
    _cookie: str
    _secure: bool
    _lifetime: timedelta = sessions.LIFETIME

    def keep(self, response: Response) -> None:
        """Give the browser the session's cookie."""
        authentication.set_cookie(
            response, value=self._cookie, lifetime=self._lifetime, secure=self._secure
        )


class OwnPasswordFirst(Refused):
    """Somebody gave the password that another set for them, and has yet to choose their own.

    Attributes
    ----------
    chit
        Shows for a quarter of an hour that they gave it.
    person
        What they are called.
    """

    def __init__(self, *, chit: str, person: str) -> None:
        mend = "Send a password of your own as new_password as well."
        super().__init__(
            "Somebody else set this password. Choose your own first.",
            [Fault("new_password", None, "is missing", mend)],
        )
        self.chit = chit
        self.person = person


async def sign_in(
    request: Request, *, name: str, password: str, new_password: str | None = None, now: datetime
) -> SignedIn:
    """Check a password and start a session; commit it.

    Parameters
    ----------
    new_password
        One's own, where the password is a temporary one.

    Raises
    ------
    Unauthenticated
        Name or password is wrong, or the account is disabled; it does not say which.
    OwnPasswordFirst
        The password is a temporary one, and there is no new one.
    Invalid
        The new password cannot be used, or nobody asked for one.
    TooOften
        There were too many wrong ones lately, of this name or from this address.
    Refused
        The request came from a page of another site.
    """
    authentication.refuse_other_sites(request)
    account = await _checked(request, name=name.strip().lower(), password=password, now=now)
    if account.temporary and new_password is None:
        chit = services(request).seals.chit(
            account.name, password_hash=account.password_hash, until=now + CHIT_LIFETIME
        )
        raise OwnPasswordFirst(chit=chit, person=account.display_name)
    if account.temporary and new_password is not None:
        return await _begin_anew(request, account, password=new_password, now=now)
    if new_password is not None:
        mend = "Leave it out; to change a password, sign in and PATCH /api/v1/session."
        fault = Fault("new_password", None, "is not asked for", mend)
        raise Invalid("The password holds as it is.", [fault])
    return await start(request, account, now=now)


async def sign_in_by_chit(request: Request, *, chit: str, password: str, now: datetime) -> SignedIn:
    """Give somebody who has just given a temporary password their own, and start a session.

    Raises
    ------
    Unauthenticated
        The chit is none, was used, or is too old.
    Invalid
        The new password cannot be used.
    TooOften
        There were too many wrong ones lately from this address.
    Refused
        The request came from a page of another site.
    """
    shared, near = services(request), _let_near(request, now=now)
    name = authentication.name_on(chit)
    account = await shared.database.read(lambda tx: stored.account_by_name(tx, name=name))
    if (
        account is None
        or not (account.temporary and account.disabled_at is None)
        or not shared.seals.chit_holds(chit, password_hash=account.password_hash, now=now)
    ):
        shared.throttle_hosts.failed(near, now=now)
        raise Unauthenticated("That took too long, or it was done already. Sign in again.")
    return await _begin_anew(request, account, password=password, now=now)


async def sign_in_by_pass(request: Request, *, secret: str, now: datetime) -> SignedIn:
    """Start the session of a phone by its pass, once; commit it.

    Raises
    ------
    Unauthenticated
        The pass is none, was used, or is too old.
    TooOften
        There were too many wrong ones lately from this address.
    Refused
        The request came from a page of another site.
    """
    shared, near = services(request), _let_near(request, now=now)
    try:
        holder = await shared.database.read(
            lambda tx: sessions.holder_of(tx, secret=secret, now=now)
        )
        with acting(doer(request, now=now, caller=caller_of(holder, session_id=None))):
            account, session = await shared.database.write(
                lambda tx: sessions.use_pass(
                    tx,
                    secret=secret,
                    user_agent=request.headers.get("user-agent", ""),
                    address=address_of(request),
                    now=now,
                )
            )
    except Unauthenticated:
        shared.throttle_hosts.failed(near, now=now)
        await note_failure(request, name="", words="sign-in by a phone code failed", now=now)
        raise
    return _signed_in(request, account, session_id=session.id, lifetime=sessions.PHONE_LIFETIME)


def _let_near(request: Request, *, now: datetime) -> str:
    """Return where somebody signs in from without a name, unless too many failed there lately."""
    authentication.refuse_other_sites(request)
    near = neighbourhood(address_of(request))
    services(request).throttle_hosts.check(near, now=now)
    return near


async def change_own_account(
    request: Request,
    *,
    caller: Caller,
    changes: AccountChanges,
    current_password: str | None = None,
    now: datetime,
) -> SignedIn:
    """Change one's own name, units, language or password; commit it, and go on in a new session.

    Raises
    ------
    Invalid
        A value cannot be used.
    Unauthenticated
        There is to be a new password, and the current one is wrong or missing.
    TooOften
        There were too many wrong ones lately.
    Refused
        The caller is a token, or would change what is not theirs to change.
    """
    account_id = caller.account_id
    if account_id is None:
        raise Refused("A token has no account of its own.")
    if not changes.keys() <= {"display_name", "units", "language", "password"}:
        raise Refused("Role and access are a manager's to change.")
    if "password" in changes:
        await _checked(request, name=caller.name, password=current_password or "", now=now)
    account = await services(request).database.write(
        lambda tx: accounts.change_account(tx, account_id=account_id, changes=changes, now=now)
    )
    if "password" in changes or caller.session_id is None:
        return await start(request, account, now=now)
    return _signed_in(request, account, session_id=caller.session_id)


async def _begin_anew(
    request: Request, account: Account, *, password: str, now: datetime
) -> SignedIn:
    """Give an account its owner's own password in place of the temporary one; start a session."""
    shared = services(request)
    async with shared.hashing:
        is_same = await run_in_threadpool(accounts.password_holds, account, password=password)
    if is_same:
        mend = "Choose one that nobody but you knows."
        fault = Fault("password", None, "is the one that somebody else set", mend)
        raise Invalid("The password cannot be used.", [fault])
    changes: AccountChanges = {"password": password, "temporary": False}
    with acting(doer(request, now=now, caller=caller_of(account, session_id=None))):
        account = await shared.database.write(
            lambda tx: accounts.change_account(tx, account_id=account.id, changes=changes, now=now)
        )
    return await start(request, account, now=now)


async def _checked(request: Request, *, name: str, password: str, now: datetime) -> Account:
    shared = services(request)
    address = address_of(request)
    near = neighbourhood(address)
    key = f"{near} {name}"
    shared.throttle_hosts.check(near, now=now)
    shared.throttle.check(key, now=now)
    account, known_here = await shared.database.read(
        lambda tx: _looked_up(tx, name=name, address=address, now=now)
    )
    if not known_here:
        shared.throttle_accounts.check(name, now=now)
        shared.throttle_accounts.failed(name, now=now)
    # Counted before it is known to be wrong, so that many at once cannot slip past.
    shared.throttle.failed(key, now=now)
    async with shared.hashing:
        holds = await run_in_threadpool(accounts.password_holds, account, password=password)
    if account is None or not holds:
        shared.throttle_hosts.failed(near, now=now)
        # A name that nobody has may be a password in the wrong field: it is not kept.
        known = "" if account is None else account.name
        await note_failure(request, name=known, words="sign-in failed", now=now)
        raise Unauthenticated("Name or password is wrong.")
    shared.throttle.succeeded(key)
    if not known_here:
        shared.throttle_accounts.succeeded(name)
    return account


def _looked_up(tx: Tx, *, name: str, address: str, now: datetime) -> tuple[Account | None, bool]:
    """Return the account of a name, and whether it was signed in from this address lately."""
    account = stored.account_by_name(tx, name=name)
    if account is None:
        return None, False
    since = now - _REMEMBERED
    return account, stored.signed_in_from(tx, account_id=account.id, address=address, since=since)


async def note_failure(request: Request, *, name: str, words: str, now: datetime) -> None:
    """Put on record that somebody tried to sign in; a name that is known here, or none."""
    with acting(doer(request, now=now, name=name)):
        await services(request).database.write(
            lambda tx: tx.note_deed(words, kind="account", thing=name)
        )


async def write_unknown(
    request: Request, *, name: str, call: Callable[[Tx], _T], now: datetime
) -> _T:
    """Write as somebody who has not signed in yet, and is known by a name elsewhere."""
    with acting(doer(request, now=now, name=name)):
        return await services(request).database.write(call)


async def write_as(
    request: Request, *, account_id: int, call: Callable[[Tx], _T], now: datetime
) -> _T:
    """Write as somebody who was signed in when they were sent away, and has come back."""
    database = services(request).database
    account = await database.read(lambda tx: accounts.account_of(tx, account_id=account_id))
    with acting(doer(request, now=now, caller=caller_of(account, session_id=None))):
        return await database.write(call)


async def start(
    request: Request,
    account: Account,
    *,
    now: datetime,
    words: str = "signed in",
    lifetime: timedelta = sessions.LIFETIME,
) -> SignedIn:
    """Start a session of somebody who has shown who they are; commit it."""
    address = address_of(request)
    agent = request.headers.get("user-agent", "")

    def begin(tx: Tx) -> str:
        session = sessions.start_session(
            tx, account=account, user_agent=agent, address=address, now=now, lifetime=lifetime
        )
        tx.call_deed(words)
        return session.id

    with acting(doer(request, now=now, caller=caller_of(account, session_id=None))):
        session_id = await services(request).database.write(begin)
    return _signed_in(request, account, session_id=session_id, lifetime=lifetime)


def _signed_in(
    request: Request,
    account: Account,
    *,
    session_id: str,
    lifetime: timedelta = sessions.LIFETIME,
) -> SignedIn:
    shared = services(request)
    return SignedIn(
        caller=caller_of(account, session_id=session_id),
        csrf=shared.seals.csrf(session_id),
        _cookie=shared.seals.seal(session_id),
        _secure=shared.secure_cookies,
        _lifetime=lifetime,
    )
