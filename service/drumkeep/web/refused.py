"""What came and could not be stored, and why."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may
from drumkeep.domain.readings import AHEAD, OLDEST
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault
from drumkeep.storage import rejects
from drumkeep.storage.tables.readings import Reject
from drumkeep.web.shell import ShellDep

router = APIRouter()

_AT_ONCE: Final = 50


@dataclass(frozen=True, slots=True)
class RefusedView:
    """One thing that was refused; ``words`` say what, why and how to mend it."""

    id: int
    source: str
    words: str
    received_at: datetime
    records: int
    times: int


@router.get("/refused")
def refused_page(
    tx: ReadingDep,
    shell: ShellDep,
    before: Annotated[int | None, Query(ge=1, le=2**63 - 1)] = None,
) -> HTMLResponse:
    """List what was refused, the newest first."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    rows = [_view(row) for row in rejects.list_rejects(tx, before=before, limit=_AT_ONCE + 1)]
    return shell.answer(
        "refused.html",
        tx=tx,
        page="refused",
        rows=rows[:_AT_ONCE],
        more=rows[_AT_ONCE - 1].id if len(rows) > _AT_ONCE else None,
        oldest_days=OLDEST.days,
        ahead_minutes=int(AHEAD.total_seconds() // 60),
    )


def _view(row: Reject) -> RefusedView:
    words = str(Fault(row.field, row.value or None, row.problem, row.mend))
    return RefusedView(row.id or 0, row.source, words, row.received_at, row.records, row.times)
