"""Bring in a spreadsheet of what there is or what happened: each row's fate first, then the deed.

As with a logger's download the page keeps the file in the form itself, compressed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.middleware import MAX_BODY
from drumkeep.asgi.sheets import MOST_ROWS, bring_in_sheet
from drumkeep.domain.roles import Action, may
from drumkeep.domain.spreadsheets import TITLE
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.sheet_import import NOUNS, RowFate, SheetReport
from drumkeep.storage.transaction import Tx
from drumkeep.web.kept_file import kept_texts, sent_file
from drumkeep.web.shell import Shell, ShellDep

router = APIRouter()

_UNUSABLE: Final = 422
_DRAWN: Final = 300
"""Rows on the page; the rest are counted."""


@dataclass(frozen=True, slots=True)
class _Given:
    """The form as it was sent, and what became of it."""

    fields: Mapping[str, str] = field(default_factory=dict)
    content: bytes = b""
    faults: Sequence[Fault] = ()
    report: SheetReport | None = None


@router.get("/import")
def import_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Ask for a file."""
    refuse_unless_may(shell.caller, Action.RECORD)
    return _page(tx, shell, _Given())


@router.post("/import")
async def check_or_store(request: Request, shell: ShellDep) -> Response:
    """Say each row's fate; with another button store all rows, or those that can be used."""
    refuse_unless_may(shell.caller, Action.RECORD)
    database = services(request).database
    async with request.form() as form:
        fields = {name: value for name, value in form.items() if isinstance(value, str)}
        content = await sent_file(form, most=MAX_BODY)
    deed = fields.get("do", "")
    try:
        _refuse_unsaid(fields, content)
        report = await database.write(
            partial(
                bring_in_sheet,
                noun=fields["what"],
                content=content,
                by=by_caller(shell.caller),
                now=shell.now,
                most=MOST_ROWS,
                check=deed not in {"store", "good"},
                take_good=deed == "good",
                day_first={"day": True, "month": False}.get(fields.get("order", "")),
            )
        )
        given = _Given(fields, content, report=report)
    except Invalid as error:
        given = _Given(fields, content, faults=error.faults)
    answer = await database.read(lambda tx: _page(tx, shell, given))
    answer.status_code = _UNUSABLE if given.faults else 200
    return answer


def _refuse_unsaid(fields: Mapping[str, str], content: bytes) -> None:
    if fields.get("what") not in NOUNS:
        mend = f"Choose {', '.join(NOUNS)}."
        raise Invalid(TITLE, [Fault("What is in it", None, "is not said", mend)])
    if not content:
        mend = "Choose the CSV file that you saved from the spreadsheet."
        raise Invalid(TITLE, [Fault("The file", None, "is missing", mend)])


def _drawn(report: SheetReport) -> list[RowFate]:
    """Return the rows to show: what is refused goes first, since somebody must mend it."""
    return sorted(report.rows, key=lambda row: row.fate != "refused")[:_DRAWN]


def _page(tx: Tx, shell: Shell, given: _Given) -> HTMLResponse:
    report = given.report
    drawn = [] if report is None else _drawn(report)
    return shell.answer(
        "import.html",
        tx=tx,
        page="products",
        given=given.fields,
        faults=given.faults,
        kept=kept_texts(given.content),
        columns={
            noun: [
                ", ".join(one.name for one in wanted.columns if one.needed is needed)
                for needed in (True, False)
            ]
            for noun, wanted in NOUNS.items()
            if may(shell.caller.role, wanted.action)
        },
        loggers=may(shell.caller.role, Action.CHANGE_CATALOGUE),
        report=report,
        rows=drawn,
        undrawn=0 if report is None else len(report.rows) - len(drawn),
    )
