"""``/session``: sign in, sign out, and who one is."""

from fastapi import APIRouter, Request, Response

from drumkeep.api.schemas.accounts import SessionOut, SessionPatch, SignInIn
from drumkeep.asgi import sign_in
from drumkeep.asgi.authentication import Caller, clear_cookie
from drumkeep.asgi.dependencies import (
    CurrentAccount,
    Now,
    TransactionDep,
    services,
)
from drumkeep.operations import sessions

router = APIRouter(prefix="/session", tags=["session"])


@router.post("", status_code=201)
async def start_session(
    request: Request, body: SignInIn, response: Response, now: Now
) -> SessionOut:
    """Sign in: answers the session's cookie and CSRF token."""
    signed_in = await sign_in.sign_in(
        request, name=body.name, password=body.password, new_password=body.new_password, now=now
    )
    signed_in.keep(response)
    return _out(signed_in.caller, csrf=signed_in.csrf)


@router.get("")
async def get_session(request: Request, caller: CurrentAccount) -> SessionOut:
    """Tell who is asking."""
    session_id = caller.session_id
    csrf = None if session_id is None else services(request).seals.csrf(session_id)
    return _out(caller, csrf=csrf)


@router.patch("")
async def change_session(
    request: Request, body: SessionPatch, caller: CurrentAccount, response: Response, now: Now
) -> SessionOut:
    """Change one's own account; a new password ends its other sessions."""
    changes = body.changes()
    current = changes.pop("current_password", None)
    if "new_password" in changes:
        changes["password"] = changes.pop("new_password")
    signed_in = await sign_in.change_own_account(
        request,
        caller=caller,
        changes=changes,
        current_password=current,
        now=now,
    )
    signed_in.keep(response)
    return _out(signed_in.caller, csrf=signed_in.csrf)


@router.delete("", status_code=204)
def end_session(tx: TransactionDep, caller: CurrentAccount, response: Response, now: Now) -> None:
    """Sign out."""
    if caller.session_id is not None:
        sessions.sign_out(tx, session_id=caller.session_id, now=now)
    clear_cookie(response)


def _out(caller: Caller, *, csrf: str | None) -> SessionOut:
    return SessionOut(
        name=caller.name,
        display_name=caller.display_name,
        role=caller.role,
        units=caller.units,
        language=caller.language,
        csrf=csrf,
    )
