"""Tokens of integrations: made, shown once, and revoked by a manager."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid
from drumkeep.operations import tokens
from drumkeep.storage.transaction import Tx
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.tokens import LASTING, NOTHING_TYPED, TokenForm, made_view, token_lines

router = APIRouter()


@router.get("/tokens")
def tokens_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the tokens."""
    return _page(tx, shell)


@router.post("/tokens")
def make(tx: TransactionDep, shell: ShellDep, form: Annotated[TokenForm, Form()]) -> HTMLResponse:
    """Make a token of an integration; this answer alone shows it."""
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    try:
        token, secret = tokens.create_token(
            tx,
            name=form.name.strip(),
            role=form.role,
            created_by=shell.caller.account_id,
            scopes=form.scopes,
            expires_at=shell.now + timedelta(days=form.days),
            now=shell.now,
        )
    except (Invalid, Conflict) as error:
        return _page(tx, shell, faults=error.faults, typed=form, status=error)
    return _page(tx, shell, made=(token.name, secret))


@router.post("/tokens/{token_id}/revoke")
def revoke(tx: TransactionDep, shell: ShellDep, token_id: RowId) -> Response:
    """Have a token hold no more."""
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    tokens.change_token(tx, token_id=token_id, changes={"revoked": True}, now=shell.now)
    return see("/tokens")


def _page(
    tx: Tx,
    shell: Shell,
    *,
    faults: tuple[Fault, ...] = (),
    typed: TokenForm = NOTHING_TYPED,
    made: tuple[str, str] | None = None,
    status: DrumkeepError | None = None,
) -> HTMLResponse:
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    answer = shell.answer(
        "tokens.html",
        tx=tx,
        tokens=token_lines(tx, now=shell.now),
        faults=faults,
        typed=typed,
        made=made_view(made),
        lasting=LASTING,
    )
    if status is not None:
        answer.status_code = 409 if isinstance(status, Conflict) else 422
    return answer
