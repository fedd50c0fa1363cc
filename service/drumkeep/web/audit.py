"""Who did what from where."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import chain
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may
from drumkeep.asgi.tables import csv_answer
from drumkeep.domain.audit import AuditQuery
from drumkeep.domain.roles import Action
from drumkeep.operations import audit
from drumkeep.storage import accounts as account_rows
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.audit import COLUMNS, audit_line, csv_row

router = APIRouter()

_SHOWN: Final = 50
_MOST_PEOPLE: Final = 1000


class Asked(BaseModel):
    """The search form; days are of UTC, ``until`` is the last one."""

    who: Annotated[str, Field(max_length=120)] = ""
    did: Annotated[str, Field(max_length=64)] = ""
    thing: Annotated[str, Field(max_length=200)] = ""
    text: Annotated[str, Field(max_length=200)] = ""
    since: Annotated[str, Field(max_length=10)] = ""
    until: Annotated[str, Field(max_length=10)] = ""
    before: Annotated[int, Field(ge=1, le=2**63 - 1)] | None = None

    def query(self) -> AuditQuery:
        """Return what is looked for; a day that is none does not matter."""
        last = _day(self.until)
        return AuditQuery(
            who=self.who.strip(),
            did=self.did.strip(),
            thing=self.thing.strip(),
            text=self.text.strip(),
            since=_day(self.since),
            until=None if last is None else last + timedelta(days=1),
        )

    def address(self, path: str, *, before: int | None = None) -> str:
        """Return the address of the same search."""
        fields = self.model_dump(exclude={"before"}, exclude_defaults=True)
        if before is not None:
            fields["before"] = before
        return f"{path}?{urlencode(fields)}" if fields else path


AskedDep = Annotated[Asked, Query()]


@router.get("/audit")
def audit_page(tx: ReadingDep, shell: ShellDep, asked: AskedDep) -> HTMLResponse:
    """Show what was done, the newest first."""
    refuse_unless_may(shell.caller, Action.SEE_AUDIT)
    found = audit.find(tx, query=asked.query(), before=asked.before, limit=_SHOWN + 1)
    lines = [audit_line(entry) for entry in found[:_SHOWN]]
    older = asked.address("/audit", before=found[_SHOWN - 1].id) if len(found) > _SHOWN else None
    return shell.answer(
        "audit.html",
        tx=tx,
        lines=lines,
        asked=asked,
        people=[row.name for row in account_rows.list_accounts(tx, limit=_MOST_PEOPLE)],
        older=older,
        newest=asked.address("/audit") if asked.before is not None else None,
        csv=asked.address("/audit.csv"),
        most=audit.MOST_IN_A_FILE,
    )


@router.get("/audit.csv")
def audit_file(tx: ReadingDep, shell: ShellDep, asked: AskedDep) -> Response:
    """Give the same as a file."""
    refuse_unless_may(shell.caller, Action.SEE_AUDIT)
    rows = map(csv_row, audit.find_all(tx, query=asked.query()))
    return csv_answer(chain([COLUMNS], rows), name="audit")


def _day(text: str) -> datetime | None:
    try:
        return datetime.combine(date.fromisoformat(text), time(), UTC)
    except ValueError:
        return None
