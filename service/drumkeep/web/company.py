"""Signing in with a company's account, and linking it to one's own here."""

import logging
from datetime import datetime
from functools import partial
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response

from drumkeep.asgi import sign_in as access
from drumkeep.asgi.dependencies import (
    Now,
    Provider,
    TransactionDep,
    services,
)
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.origin import address_of, neighbourhood
from drumkeep.domain.company_sign_in import Identity
from drumkeep.errors import DrumkeepError, NotFound, Refused, Unauthenticated, Unavailable
from drumkeep.operations import company_sign_in as company
from drumkeep.operations.company_sign_in import Sent
from drumkeep.storage.tables.accounts import Account, SignInAttempt
from drumkeep.web import me, sign_in
from drumkeep.web.shell import ShellDep, go_on, safe_next, see

router = APIRouter()

BACK: Final = "/sign-in/company/back"
"""Where the provider sends people back to."""

_COOKIE: Final = "drumkeep_attempt"
_PATH: Final = "/sign-in/company"
_LOG: Final = logging.getLogger(__name__)


def _provider(request: Request) -> Provider:
    provider = services(request).provider
    if provider is None:
        raise NotFound("Nobody signs in with a company's account here.")
    return provider


ProviderDep = Annotated[Provider, Depends(_provider)]


@router.get("/sign-in/company")
async def send_away(
    request: Request,
    provider: ProviderDep,
    now: Now,
    next: str = "/floor",  # noqa: A002
) -> Response:
    """Send somebody to the company's sign-in."""
    shared = services(request)
    near = neighbourhood(address_of(request))
    shared.throttle_sent.check(near, now=now)
    shared.throttle_sent.failed(near, now=now)
    begin = partial(company.begin, next_page=safe_next(next), now=now)
    sent = await shared.database.write(begin)
    try:
        address = await _address(provider, sent, now=now)
    except Unavailable as error:
        return sign_in.page(request, next=next, error=error.title, status=503)
    response = see(address)
    _remember(response, sent, secure=shared.secure_cookies)
    return response


@router.get(BACK)
async def come_back(
    request: Request,
    provider: ProviderDep,
    now: Now,
    *,
    code: str = "",
    state: str = "",
    iss: str = "",
    error: str = "",
) -> Response:
    """Sign in whom the company's sign-in sends back, or link them."""
    shared = services(request)
    near = neighbourhood(address_of(request))
    try:
        shared.throttle_hosts.check(near, now=now)
        attempt = await _taken(request, state=state, now=now)
        if error:
            raise Unauthenticated("The company's sign-in did not let you in. Begin again.")
        identity = await run_in_threadpool(
            provider.identity, code=code, nonce=attempt.nonce, verifier=attempt.verifier, now=now
        )
        # RFC 9207: of another provider's answer.
        if iss not in {"", identity.issuer}:
            raise company.over()
        response = await _let_in(request, attempt, identity, now=now)
    except DrumkeepError as refused:
        shared.throttle_hosts.failed(near, now=now)
        _LOG.warning("company sign-in failed: %s", refused.__cause__ or refused)
        await access.note_failure(request, name="", words="company sign-in failed", now=now)
        return sign_in.page(request, error=refused.title, status=_status(refused))
    response.delete_cookie(_COOKIE, path=_PATH, httponly=True, samesite="lax")
    return response


@router.post("/me/company")
async def begin_link(request: Request, shell: ShellDep, provider: ProviderDep) -> Response:
    """Offer the way to the company's sign-in, to link its account to one's own here.

    A link and not a redirect: a form of ours leads nowhere else.
    """
    shared = services(request)
    account_id = shell.caller.account_id
    begin = partial(company.begin, next_page="/me", account_id=account_id, now=shell.now)
    sent = await shared.database.write(begin)
    address = await _address(provider, sent, now=shell.now)
    response = await shared.database.read(partial(me.own_page, shell=shell, company_at=address))
    _remember(response, sent, secure=shared.secure_cookies)
    return response


@router.post("/me/company/{identity_id}/remove")
def remove_link(tx: TransactionDep, shell: ShellDep, identity_id: RowId) -> Response:
    """Have a company's account open one's own here no more."""
    account_id = shell.caller.account_id
    assert account_id is not None  # noqa: S101 - a token posts no forms
    company.unlink(tx, account_id=account_id, identity_id=identity_id)
    return see("/me")


async def _taken(request: Request, *, state: str, now: datetime) -> SignInAttempt:
    browser = request.cookies.get(_COOKIE, "")
    take = partial(company.take, state=state, browser=browser, now=now)
    attempt = await services(request).database.write(take)
    if attempt is None:
        raise company.over()
    return attempt


async def _let_in(
    request: Request, attempt: SignInAttempt, identity: Identity, *, now: datetime
) -> Response:
    shared = services(request)
    if attempt.account_id is not None:
        await access.write_as(
            request,
            account_id=attempt.account_id,
            call=partial(
                company.link,
                account_id=attempt.account_id,
                identity=identity,
                admission=shared.admission,
                now=now,
            ),
            now=now,
        )
        return see("/me")
    call = partial(company.account_for, identity=identity, admission=shared.admission, now=now)
    account: Account = await access.write_unknown(
        request, name=identity.email or identity.subject, call=call, now=now
    )
    signed_in = await access.start(
        request,
        account,
        now=now,
        words="signed in with the company's account",
        lifetime=company.LIFETIME,
    )
    return go_on(signed_in, safe_next(attempt.next))


async def _address(provider: Provider, sent: Sent, *, now: datetime) -> str:
    return await run_in_threadpool(
        provider.address, state=sent.state, nonce=sent.nonce, verifier=sent.verifier, now=now
    )


def _remember(response: Response, sent: Sent, *, secure: bool) -> None:
    response.set_cookie(
        _COOKIE,
        sent.browser,
        max_age=int(company.ATTEMPT_LIFETIME.total_seconds()),
        path=_PATH,
        secure=secure,
        httponly=True,
        samesite="lax",
    )


def _status(error: DrumkeepError) -> int:
    if isinstance(error, Unavailable):
        return 503
    return 403 if isinstance(error, Refused) else 401
