"""Signing in and out, for the API and the pages alike."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from drumkeep.asgi import authentication
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import caller_of, services
from drumkeep.errors import Refused, Unauthenticated
from drumkeep.operations import accounts, sessions
from drumkeep.operations.accounts import AccountChanges
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Account


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


async def sign_in(request: Request, *, name: str, password: str, now: datetime) -> SignedIn:
    """Check a password and start a session; commit it.

    Raises
    ------
    Unauthenticated
        Name or password is wrong, or the account is disabled; it does not say which.
    TooOften
        There were too many wrong ones lately, of this name or from this address.
    Refused
        The request came from a page of another site.
    """
    authentication.refuse_other_sites(request)
    account = await _checked(request, name=name.strip().lower(), password=password, now=now)
    return await _start(request, account, now=now)


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
    authentication.refuse_other_sites(request)
    shared = services(request)
    host = request.client.host if request.client else ""
    shared.throttle_hosts.check(host, now=now)
    agent = request.headers.get("user-agent", "")
    try:
        account, session = await shared.database.write(
            lambda tx: sessions.use_pass(tx, secret=secret, user_agent=agent, now=now)
        )
    except Unauthenticated:
        shared.throttle_hosts.failed(host, now=now)
        raise
    return _signed_in(request, account, session_id=session.id, lifetime=sessions.PHONE_LIFETIME)


async def change_own_account(
    request: Request,
    *,
    caller: Caller,
    changes: AccountChanges,
    current_password: str | None = None,
    now: datetime,
) -> SignedIn:
    """Change one's own name, units or password; commit it, and go on in a new session.

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
    if not changes.keys() <= {"display_name", "units", "password"}:
        raise Refused("Role and access are a manager's to change.")
    if "password" in changes:
        await _checked(request, name=caller.name, password=current_password or "", now=now)
    account = await services(request).database.write(
        lambda tx: accounts.change_account(tx, account_id=account_id, changes=changes, now=now)
    )
    if "password" in changes or caller.session_id is None:
        return await _start(request, account, now=now)
    return _signed_in(request, account, session_id=caller.session_id)


async def _checked(request: Request, *, name: str, password: str, now: datetime) -> Account:
    shared = services(request)
    host = request.client.host if request.client else ""
    key = f"{host} {name}"
    shared.throttle_hosts.check(host, now=now)
    shared.throttle.check(key, now=now)
    # Counted before it is known to be wrong, so that many at once cannot slip past.
    shared.throttle.failed(key, now=now)
    account = await shared.database.read(lambda tx: stored.account_by_name(tx, name=name))
    async with shared.hashing:
        holds = await run_in_threadpool(accounts.password_holds, account, password=password)
    if account is None or not holds:
        shared.throttle_hosts.failed(host, now=now)
        raise Unauthenticated("Name or password is wrong.")
    shared.throttle.succeeded(key)
    return account


async def _start(request: Request, account: Account, *, now: datetime) -> SignedIn:
    agent = request.headers.get("user-agent", "")
    session = await services(request).database.write(
        lambda tx: sessions.start_session(tx, account=account, user_agent=agent, now=now)
    )
    return _signed_in(request, account, session_id=session.id)


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
