"""Take what is on record along as files for a spreadsheet."""

from datetime import timedelta
from typing import Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may
from drumkeep.domain.roles import Action, may
from drumkeep.storage import catalogue
from drumkeep.web.shell import ShellDep

router = APIRouter()

_USUAL: Final = timedelta(days=30)


@router.get("/export")
def export_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show what can be taken along."""
    refuse_unless_may(shell.caller, Action.READ)
    return shell.answer(
        "export.html",
        tx=tx,
        page="stock",
        sites=[(site.code, site.name) for site in catalogue.list_sites(tx)],
        first=(shell.now - _USUAL).date().isoformat(),
        last=shell.now.date().isoformat(),
        may_import=may(shell.caller.role, Action.RECORD),
        may_take_all=may(shell.caller.role, Action.TAKE_ALL),
    )
