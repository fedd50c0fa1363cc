"""One's own page: devices, password, tokens, company accounts, units, language."""

from datetime import timedelta
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi import sign_in as access
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, services
from drumkeep.asgi.fields import RowId
from drumkeep.errors import Conflict, Fault, Invalid, Unauthenticated
from drumkeep.operations import tokens
from drumkeep.storage.transaction import Tx
from drumkeep.web.language import forget
from drumkeep.web.shell import Shell, ShellDep, go_on, safe_next, see
from drumkeep.web.views.people import own_devices
from drumkeep.web.views.tokens import (
    LASTING,
    NOTHING_TYPED,
    TokenForm,
    identity_lines,
    made_view,
    own_token_lines,
)

router = APIRouter()

_UNUSABLE: Final = 422

Text = Annotated[str, Form(max_length=400)]


@router.get("/me")
def me(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show one's own page."""
    return own_page(tx, shell=shell)


@router.post("/me/password")
async def change_password(
    request: Request, shell: ShellDep, current: Text = "", password: Text = ""
) -> Response:
    """Change one's own password; every other device is signed out."""
    faults: tuple[Fault, ...] = ()
    try:
        signed_in = await access.change_own_account(
            request,
            caller=shell.caller,
            changes={"password": password},
            current_password=current,
            now=shell.now,
        )
    except Invalid as error:
        faults = error.faults
    except Unauthenticated:
        mend = "Write the one that holds until now; a manager can set a new one."
        faults = (Fault("current", None, "is not your password", mend),)
    else:
        return go_on(signed_in, "/me")
    database = services(request).database
    answer = await database.read(lambda tx: own_page(tx, shell=shell, faults=faults))
    answer.status_code = _UNUSABLE
    return answer


@router.post("/me/tokens")
def make_token(
    tx: TransactionDep, shell: ShellDep, form: Annotated[TokenForm, Form()]
) -> HTMLResponse:
    """Make a token of one's own; this answer alone shows it."""
    account_id = shell.caller.account_id
    assert account_id is not None  # noqa: S101 - a token posts no forms
    try:
        token, secret = tokens.create_token(
            tx,
            name=form.name.strip(),
            role=shell.caller.role,
            created_by=account_id,
            owner=account_id,
            scopes=form.scopes,
            expires_at=shell.now + timedelta(days=form.days),
            now=shell.now,
        )
    except (Invalid, Conflict) as error:
        answer = own_page(tx, shell=shell, token_faults=error.faults, typed=form)
        answer.status_code = _UNUSABLE
        return answer
    return own_page(tx, shell=shell, made=(token.name, secret))


@router.post("/me/tokens/{token_id}/revoke")
def revoke_token(tx: TransactionDep, shell: ShellDep, token_id: RowId) -> Response:
    """Have a token of one's own hold no more."""
    account_id = shell.caller.account_id
    assert account_id is not None  # noqa: S101 - as above
    tokens.revoke_own(tx, token_id=token_id, account_id=account_id, now=shell.now)
    return see("/me#tokens")


@router.post("/me/units")
async def change_units(
    request: Request,
    shell: ShellDep,
    units: Annotated[Literal["us", "si"], Form()],
    next: Annotated[str, Form(max_length=400)] = "/floor",  # noqa: A002
) -> Response:
    """Show pages in °F and lb, or °C and kg, from now on."""
    await access.change_own_account(
        request, caller=shell.caller, changes={"units": units}, now=shell.now
    )
    return see(safe_next(next))


@router.post("/me/language")
async def change_language(
    request: Request,
    shell: ShellDep,
    language: Annotated[str, Form(max_length=8)] = "",
    next: Annotated[str, Form(max_length=400)] = "/floor",  # noqa: A002
) -> Response:
    """Show pages in a language from now on; empty: in the one that the browser asks for."""
    await access.change_own_account(
        request, caller=shell.caller, changes={"language": language}, now=shell.now
    )
    answer = see(safe_next(next))
    forget(answer)  # the next page leaves the one that was chosen
    return answer


def own_page(
    tx: Tx,
    *,
    shell: Shell,
    faults: tuple[Fault, ...] = (),
    token_faults: tuple[Fault, ...] = (),
    typed: TokenForm = NOTHING_TYPED,
    made: tuple[str, str] | None = None,
    company_at: str | None = None,
) -> HTMLResponse:
    """Show one's own page."""
    return shell.answer(
        "me.html",
        tx=tx,
        faults=faults,
        account=shell.caller.name,
        chosen=shell.caller.language,
        devices=own_devices(tx, caller=shell.caller, now=shell.now),
        tokens=own_token_lines(tx, caller=shell.caller, now=shell.now),
        token_faults=token_faults,
        typed=typed,
        made=made_view(made),
        lasting=LASTING,
        identities=identity_lines(tx, caller=shell.caller),
        company=services(shell.request).provider is not None,
        company_at=company_at,
    )
