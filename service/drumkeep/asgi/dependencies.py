"""What a request hands to its function: a transaction, the asker, and the time."""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from typing import Annotated, Final, Protocol

import anyio
from fastapi import Depends, Request

from drumkeep.asgi.authentication import (
    COOKIE,
    SAFE_METHODS,
    WROTE,
    Caller,
    Seals,
    Throttle,
    check_csrf,
)
from drumkeep.asgi.database import Database
from drumkeep.asgi.meters import Meters
from drumkeep.asgi.origin import doer
from drumkeep.asgi.shared import Shared
from drumkeep.domain.company_sign_in import Admission, Identity
from drumkeep.domain.roles import Action, Role, may, needed_scope
from drumkeep.errors import Refused, Unauthenticated, Unavailable
from drumkeep.notify.broker_files import BrokerFiles
from drumkeep.operations import sessions, tokens
from drumkeep.storage import accounts as stored
from drumkeep.storage.audit_trail import DOER
from drumkeep.storage.replica import STALE_S
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.transaction import Tx

_API: Final = "/api/v1/"


class Provider(Protocol):
    """Where people sign in with their company's account; its module is loaded where one is set."""

    def address(self, *, state: str, nonce: str, verifier: str, now: datetime) -> str:
        """Return where to send a person to sign in."""

    def identity(self, *, code: str, nonce: str, verifier: str, now: datetime) -> Identity:
        """Return who came back with a code."""


@dataclass(frozen=True)
class Services:
    """What requests share; ``create_app`` puts one at ``app.state.services``.

    Attributes
    ----------
    database
        The way into the database.
    seals
        Signs cookies.
    throttle
        Slows down guessing of one person's password from one address.
    throttle_accounts
        Slows down guessing of one person's from many addresses; where that person has signed in
        before it does not hold, so that nobody can be locked out from elsewhere.
    throttle_hosts
        Slows down guessing of anybody's from one address.
    throttle_sent
        Slows down being sent to the company's sign-in from one address: each leaves a row.
    hashing
        Password checks at a time; each takes 64 MiB and a core for a while.
    meters
        Counters and gauges of this process.
    secure_cookies
        Whether people come by HTTPS, so that the cookie may be kept off plain HTTP.
    broker_files
        Where gateways' passwords are kept for the broker; None: somebody else sees to it.
    mqtt_root
        What the topics of gateways begin with.
    sends_notices
        Whether people are told of alarms elsewhere than on the pages.
    currency
        In which prices are said (ISO 4217).
    noted_uses
        When the use of a token was last noted, or tried to be, by its id.
    shared
        What open pages have made for them together.
    provider
        Where people sign in with their company's account; None: nowhere.
    admission
        Whom it may send.
    """

    database: Database
    seals: Seals
    throttle: Throttle = field(default_factory=Throttle)
    throttle_accounts: Throttle = field(default_factory=lambda: Throttle(failures=30))
    throttle_hosts: Throttle = field(default_factory=lambda: Throttle(failures=50))
    throttle_sent: Throttle = field(default_factory=lambda: Throttle(failures=300))
    hashing: anyio.Semaphore = field(default_factory=lambda: anyio.Semaphore(2))
    meters: Meters = field(default_factory=Meters)
    secure_cookies: bool = False
    broker_files: BrokerFiles | None = None
    mqtt_root: str = "drumkeep/v1"
    sends_notices: bool = True
    currency: str = "USD"
    noted_uses: dict[int, datetime] = field(default_factory=dict)
    shared: Shared = field(default_factory=Shared)
    provider: Provider | None = None
    admission: Admission = field(default_factory=Admission)


def services(request: Request) -> Services:
    """Return what requests share."""
    found = request.app.state.services
    assert isinstance(found, Services)  # noqa: S101 - create_app puts it there
    return found


async def _database(request: Request) -> Database:
    return services(request).database


async def clock() -> datetime:
    """Read the clock: the only place where a request does."""
    return datetime.now(UTC)  # noqa: TID251 - the edge


DatabaseDep = Annotated[Database, Depends(_database)]
Now = Annotated[datetime, Depends(clock)]


async def current_account(request: Request, database: DatabaseDep, now: Now) -> Caller:
    """Return who is asking, by bearer token or by session cookie.

    A cookie comes along with whatever page sent the request, so what changes something must show
    the session's CSRF token too. A bearer token is only ever sent on purpose.

    Raises
    ------
    Unauthenticated
        There is neither, or it does not hold any more.
    Refused
        The CSRF token is missing or wrong, or the token is not good for this.
    """
    authorization = request.headers.get("authorization")
    if authorization is not None:
        caller, is_news = await database.read(lambda tx: _bearer(tx, authorization, now=now))
        _refuse_beyond_scopes(request, caller)
        if is_news:
            await _note_use(services(request), caller, now=now)
    else:
        found = services(request)
        session_id = found.seals.unseal(request.cookies.get(COOKIE, ""))
        if session_id is None:
            raise Unauthenticated("Sign in first.")
        caller = await database.read(lambda tx: _session(tx, session_id, now=now))
        if request.method not in SAFE_METHODS:
            await check_csrf(request, expected=found.seals.csrf(session_id))
    # Whatever this request changes is this one's deed.
    DOER.set(doer(request, now=now, caller=caller))
    return caller


CurrentAccount = Annotated[Caller, Depends(current_account)]


async def _transaction(database: DatabaseDep, _caller: CurrentAccount) -> AsyncIterator[Tx]:
    async with database.writing() as tx:
        yield tx


async def _reading(
    request: Request, database: DatabaseDep, caller: CurrentAccount
) -> AsyncIterator[Tx]:
    async with database.reading(stale=stale_will_do(request, caller)) as tx:
        yield tx


# scope="function": the block ends, and so commits, when the function has returned and before the
# answer is sent. With the default the client has its 200 before the commit, even one that fails.
TransactionDep = Annotated[Tx, Depends(_transaction, scope="function")]
"""A transaction that may write, of a caller who is known."""

ReadingDep = Annotated[Tx, Depends(_reading, scope="function")]
"""A transaction that cannot write, of a caller who is known."""


def stale_will_do(request: Request, caller: Caller) -> bool:
    """Whether an answer from a replica, at most :data:`STALE_S` old, will do.

    Whoever has just changed something must see it, and whoever reloads a page means it. Programs
    keep no cookies, so they say how old an answer may be (``Cache-Control: max-age=5``; RFC 9111,
    5.2.1.1).
    """
    if request.method not in {"GET", "HEAD"} or WROTE in request.cookies:
        return False
    wanted = request.headers.get("cache-control", "").lower().replace(" ", "").split(",")
    ages = [one.removeprefix("max-age=") for one in wanted if one.startswith("max-age=")]
    if "no-cache" in wanted or any(not age.isdigit() or int(age) < STALE_S for age in ages):
        return False
    return caller.session_id is not None or bool(ages)


@cache
def require(action: Action) -> Callable[[Caller], Awaitable[Caller]]:
    """Make a dependency that lets through only callers who may take the action.

    Use it as ``caller: Annotated[Caller, Depends(require(Action.RECORD))]``.
    """

    async def check(caller: CurrentAccount) -> Caller:
        refuse_unless_may(caller, action)
        return caller

    return check


def refuse_unless_may(caller: Caller, action: Action) -> None:
    """Refuse a caller whose role may not take the action.

    Raises
    ------
    Refused
        Naming role and action.
    """
    if not may(caller.role, action):
        raise Refused(f"The role {caller.role} may not {action}.")


def caller_of(account: Account, *, session_id: str | None) -> Caller:
    """Return who is asking in a session of this account, or is about to begin one."""
    return Caller(
        name=account.name,
        role=Role(account.role),
        account_id=account.id,
        session_id=session_id,
        display_name=account.display_name,
        units=account.units,
        language=account.language,
    )


def _bearer(tx: Tx, authorization: str, *, now: datetime) -> tuple[Caller, bool]:
    scheme, _, secret = authorization.partition(" ")
    found = tokens.find(tx, secret=secret.strip(), now=now) if scheme.lower() == "bearer" else None
    if found is None:
        raise Unauthenticated("The token is unknown, has expired or was revoked.")
    token, role = found
    caller = Caller(
        name=token.name,
        role=role,
        display_name=token.name,
        token_id=token.id,
        owner_id=token.account_id,
        scopes=tokens.scopes_of(token),
    )
    return caller, tokens.is_use_news(token, now=now)


def _refuse_beyond_scopes(request: Request, caller: Caller) -> None:
    nouns = request.url.path.removeprefix(_API).strip("/").split("/")
    if nouns == ["session"] and request.method in SAFE_METHODS:
        return  # who one is, every token may ask
    needed = needed_scope(nouns, changes=request.method not in SAFE_METHODS)
    if needed not in caller.scopes:
        raise Refused(f"The token is not good to {needed} ({request.method} needs that here).")


async def _note_use(found: Services, caller: Caller, *, now: datetime) -> None:
    token_id = caller.token_id
    assert token_id is not None  # noqa: S101 - a token asks
    tried = found.noted_uses.get(token_id)
    found.noted_uses[token_id] = now
    # Where it cannot be written (a full disk, a long write) nobody is kept from reading by it.
    if tried is None or now - tried >= tokens.USED_EVERY:
        with suppress(Unavailable):
            await found.database.write(lambda tx: stored.use_token(tx, token_id=token_id, now=now))


def _session(tx: Tx, session_id: str, *, now: datetime) -> Caller:
    account = sessions.find(tx, session_id=session_id, now=now)
    if account is None:
        raise Unauthenticated("The session has ended. Sign in again.")
    return caller_of(account, session_id=session_id)
