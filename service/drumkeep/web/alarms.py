"""Alarms by cause, and acknowledging them."""

from typing import Annotated

from fastapi import APIRouter, Form
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep
from drumkeep.asgi.happenings import by_caller
from drumkeep.operations import alarms
from drumkeep.storage import alarms as rows
from drumkeep.web.shell import ShellDep, safe_next, see
from drumkeep.web.views.alarms import alarm_views
from drumkeep.web.views.notices import unheard_words

router = APIRouter()

_CLOSED = 20
"""Alarms that are back to normal, shown below the open ones."""


@router.get("/alarms")
def alarms_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show open alarms, oldest unacknowledged first, then the latest closed ones."""
    found = alarms.open_first(rows.open_alarms(tx))
    closed = rows.list_alarms(tx, state="normal", limit=_CLOSED)
    formats = shell.everywhere(tx)
    views = alarm_views(tx, [*found, *closed], formats=formats, role=shell.caller.role)
    return shell.answer(
        "alarms.html",
        tx=tx,
        page="alarms",
        formats=formats,
        alarms=views,
        checked_at=shell.now,
        unheard=unheard_words(tx, found),
    )


@router.post("/alarms/{alarm_id}/acknowledge")
def acknowledge(
    tx: TransactionDep,
    shell: ShellDep,
    alarm_id: str,
    next: Annotated[str, Form(max_length=400)] = "/alarms",  # noqa: A002
) -> Response:
    """Record that one has seen an alarm and acts on it."""
    alarms.acknowledge(tx, alarm_id=alarm_id, by=by_caller(shell.caller), now=shell.now)
    return see(safe_next(next, otherwise="/alarms"))
