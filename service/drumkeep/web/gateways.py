"""Gateways: whether each is there, and its password at the broker."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.broker import give_password, revoke_password
from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.domain.roles import Action, may
from drumkeep.notify.broker_access import username
from drumkeep.storage.transaction import Tx
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.gateways import GivenPassword, gateway_views

router = APIRouter()


@router.get("/gateways")
def gateways_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the gateways."""
    return _page(tx, shell)


@router.post("/gateways/{site}/{code}/credential")
async def give(request: Request, shell: ShellDep, site: str, code: str) -> Response:
    """Give a gateway a password; this answer alone shows it."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    found = services(request)
    password = await give_password(found, site=site, code=code, caller=shell.caller, now=shell.now)
    given = GivenPassword(username(site=site, gateway=code), password)
    answer = await found.database.read(lambda tx: _page(tx, shell, given=given))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/gateways/{site}/{code}/credential/revoke")
async def revoke(request: Request, shell: ShellDep, site: str, code: str) -> Response:
    """Take a gateway's password away."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    await revoke_password(services(request), site=site, code=code, now=shell.now)
    return see("/gateways")


def _page(tx: Tx, shell: Shell, *, given: GivenPassword | None = None) -> HTMLResponse:
    return shell.answer(
        "gateways.html",
        tx=tx,
        page="gateways",
        gateways=gateway_views(tx, formats=shell.formats, now=shell.now),
        given=given,
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
        writes_files=services(shell.request).broker_files is not None,
    )
