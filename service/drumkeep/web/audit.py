"""Who did what from where."""

from contextlib import suppress
from datetime import date, datetime, time, timedelta, tzinfo
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
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import audit
from drumkeep.storage import accounts as account_rows
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.audit import COLUMNS, audit_line, csv_row
from drumkeep.web.views.audit_names import names_in

router = APIRouter()

_SHOWN: Final = 50
_MOST_PEOPLE: Final = 1000
_YEARS: Final = range(2000, 2200)
"""Days that any zone's clock and any calendar hold."""


class Asked(BaseModel):
    """The search form; ``until`` is the last one."""

    who: Annotated[str, Field(max_length=120)] = ""
    did: Annotated[str, Field(max_length=64)] = ""
    thing: Annotated[str, Field(max_length=200)] = ""
    text: Annotated[str, Field(max_length=200)] = ""
    since: Annotated[str, Field(max_length=10)] = ""
    until: Annotated[str, Field(max_length=10)] = ""
    before: Annotated[int, Field(ge=1, le=2**63 - 1)] | None = None

    def query(self, zone: tzinfo) -> AuditQuery:
        """Return what is looked for, its days in a zone.

        Raises
        ------
        Invalid
            A day is none.
        """
        first, last = _day("since", self.since, zone), _day("until", self.until, zone)
        return AuditQuery(
            who=self.who.strip(),
            did=self.did.strip(),
            thing=self.thing.strip(),
            text=self.text.strip(),
            since=first,
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
    formats = shell.everywhere(tx)
    faults: tuple[Fault, ...] = ()
    query = AuditQuery()
    try:
        query = asked.query(formats.timezone)
    except Invalid as error:
        faults = error.faults
    found = [] if faults else audit.find(tx, query=query, before=asked.before, limit=_SHOWN + 1)
    names = names_in(tx, found)
    lines = [audit_line(entry, formats, names=names) for entry in found[:_SHOWN]]
    older = asked.address("/audit", before=found[_SHOWN - 1].id) if len(found) > _SHOWN else None
    return shell.answer(
        "audit.html",
        tx=tx,
        formats=formats,
        lines=lines,
        asked=asked,
        faults=faults,
        zone=formats.zone(formats.now),
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
    query = asked.query(shell.everywhere(tx).timezone)
    rows = map(csv_row, audit.find_all(tx, query=query))
    return csv_answer(chain([COLUMNS], rows), name="audit")


def _day(field: str, text: str, zone: tzinfo) -> datetime | None:
    """Return when a day begins there."""
    if not text:
        return None
    with suppress(ValueError):
        day = date.fromisoformat(text)
        if day.year in _YEARS:
            return datetime.combine(day, time(), zone)
    mend = "Write it as year-month-day, like 2026-11-25."
    raise Invalid("No day can be read.", [Fault(field, text, "is not a day", mend)])
