"""Signing in and out."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi import sign_in as access
from drumkeep.asgi.authentication import clear_cookie, name_on
from drumkeep.asgi.dependencies import Now, TransactionDep, services
from drumkeep.asgi.problems import TooOften
from drumkeep.errors import Fault, Invalid, Unauthenticated
from drumkeep.operations import sessions
from drumkeep.operations.accounts import SHORTEST_PASSWORD
from drumkeep.web.language import forget
from drumkeep.web.shell import ShellDep, answer_anybody, go_on, safe_next, see

router = APIRouter()

Text = Annotated[str, Form(max_length=400)]


@router.get("/sign-in")
async def sign_in_page(request: Request, next: str = "/floor") -> HTMLResponse:  # noqa: A002
    """Ask for name and password."""
    return page(request, next=next)


@router.post("/sign-in")
async def sign_in(
    request: Request,
    now: Now,
    name: Text = "",
    password: Text = "",
    next: Text = "/floor",  # noqa: A002
) -> Response:
    """Sign in, and go on to the page that was asked for."""
    try:
        signed_in = await access.sign_in(request, name=name, password=password, now=now)
    except Unauthenticated as error:
        return page(request, next=next, name=name, error=error.title, status=401)
    except TooOften as error:
        shown = page(request, next=next, name=name, error=error.title, status=429)
        shown.headers["Retry-After"] = str(error.retry_s)
        return shown
    except access.OwnPasswordFirst as first:
        return _own_password(request, next=next, chit=first.chit, person=first.person)
    return go_on(signed_in, safe_next(next))


@router.post("/sign-in/own-password")
async def choose_password(
    *,
    request: Request,
    now: Now,
    chit: Text = "",
    person: Text = "",
    password: Text = "",
    next: Text = "/floor",  # noqa: A002
) -> Response:
    """Take the password that somebody chose in place of a temporary one, and go on."""
    try:
        signed_in = await access.sign_in_by_chit(request, chit=chit, password=password, now=now)
    except Unauthenticated as error:
        return page(request, next=next, name=name_on(chit), error=error.title, status=401)
    except Invalid as error:
        return _own_password(request, next=next, chit=chit, person=person, faults=error.faults)
    return go_on(signed_in, safe_next(next))


@router.post("/sign-out")
def sign_out(tx: TransactionDep, shell: ShellDep) -> Response:
    """End this session."""
    if shell.caller.session_id is not None:
        sessions.sign_out(tx, session_id=shell.caller.session_id, now=shell.now)
    response = see("/sign-in")
    clear_cookie(response)
    forget(response)
    return response


def page(
    request: Request,
    *,
    next: str = "/floor",  # noqa: A002
    name: str = "",
    error: str | None = None,
    status: int = 200,
) -> HTMLResponse:
    """Show the form, with what went wrong."""
    return answer_anybody(
        request,
        "sign_in.html",
        status=status,
        csrf="",
        next=safe_next(next),
        name=name,
        error=error,
        company=services(request).provider is not None,
    )


def _own_password(
    request: Request,
    *,
    next: str,  # noqa: A002
    chit: str,
    person: str,
    faults: tuple[Fault, ...] = (),
) -> HTMLResponse:
    return answer_anybody(
        request,
        "own_password.html",
        status=422 if faults else 200,
        csrf="",
        next=safe_next(next),
        chit=chit,
        name=name_on(chit),
        person=person,
        faults=faults,
        shortest=SHORTEST_PASSWORD,
    )
