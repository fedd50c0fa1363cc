"""Checking two drums before they are hooked up: a loud answer, which is kept."""

from collections.abc import Mapping
from typing import Annotated, Final
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.cautions import CAUTION_ISO, CAUTION_SHEET
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.roles import Action, may
from drumkeep.domain.scans import drum_read
from drumkeep.domain.side_checks import CAUTION_CROSSOVER, CAUTION_LOOK, CheckAnswer
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid
from drumkeep.operations.ground import read_premises
from drumkeep.operations.side_checks import Question, check_at, check_drums
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import pulls as pull_rows
from drumkeep.storage import side_checks as rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.places import named_places
from drumkeep.web.views.pulls import ANSWERS, check_line, check_view

router = APIRouter()

_SHOWN: Final = 50
_RIGS: Final = (PlaceKind.RIG, PlaceKind.VEHICLE, PlaceKind.JOB_SITE)

Word = Annotated[str, Field(max_length=200)]
_LABELS: Final = {
    "id": "This form",
    "first": "First drum",
    "second": "Second drum",
    "rig": "Rig",
    "pull": "List",
}


class HookupQuery(BaseModel):
    """What is filled in already, and which checks of the past are asked for."""

    first: Word = ""
    pull: Word = ""
    rig: Word = ""
    drum: Word = ""
    answer: Word = ""
    before: Annotated[int, Field(ge=0, lt=2**31)] = 0


@router.get("/hookup")
def hookup_page(
    tx: ReadingDep, shell: ShellDep, query: Annotated[HookupQuery, Query()]
) -> HTMLResponse:
    """Ask for two drums, and show what was answered before."""
    given = {"first": query.first, "pull": query.pull, "rig": query.rig}
    return _asking(tx, shell, given=given, query=query)


@router.post("/hookup")
def check(
    tx: TransactionDep, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Check two drums, keep the answer, and show it."""
    refuse_unless_may(shell.caller, Action.PULL)
    try:
        found = check_drums(tx, question=_question(form), by=by_caller(shell.caller), now=shell.now)
    except (Conflict, Invalid) as error:
        return _asking(tx, shell, given=form, query=HookupQuery(), error=error)
    return see(f"/hookup/{found.id}")


@router.get("/hookup/{check_id}")
def answer_page(tx: ReadingDep, shell: ShellDep, check_id: RowId) -> HTMLResponse:
    """Show an answer; soon it is none any more."""
    found = check_at(tx, check_id=check_id)
    premises = read_premises(tx)
    first = drum_rows.drums_by_id(tx, ids=[found.first_id])[found.first_id]
    site = premises.sites[premises.places[first.place_id].site_id]
    formats = shell.formats.at(site.timezone)
    rig = "" if found.place_id is None else premises.places[found.place_id].name
    return shell.answer(
        "hookup_answer.html",
        tx=tx,
        page="hookup",
        formats=formats,
        check=check_view(found, rig=rig, formats=formats, now=shell.now),
        cautions=(CAUTION_LOOK, CAUTION_CROSSOVER, CAUTION_ISO, CAUTION_SHEET),
    )


def _asking(
    tx: Tx,
    shell: Shell,
    *,
    given: Mapping[str, str],
    query: HookupQuery,
    error: DrumkeepError | None = None,
) -> HTMLResponse:
    premises = read_premises(tx)
    found = rows.checks(
        tx,
        drum_id=_drum_id(tx, query.drum),
        answer=query.answer if query.answer in set(CheckAnswer) else None,
        before=query.before or None,
        limit=_SHOWN + 1,
    )
    shown = found[:_SHOWN]
    answer = shell.answer(
        "hookup.html",
        tx=tx,
        page="hookup",
        given={"first": "", "second": "", "pull": "", "rig": "", **given, "id": str(uuid4())},
        faults=()
        if error is None
        else [
            (_LABELS.get(fault.field, fault.field), fault)
            for fault in named_places(tx, error.faults)
        ],
        rigs=[
            (f"{premises.sites[p.site_id].code}/{p.code}", p.name)
            for p in premises.places.values()
            if p.kind in _RIGS
        ],
        pulls=[str(pull.id) for pull in pull_rows.pulls(tx, open_only=True, limit=_SHOWN)],
        checks=[check_line(row, formats=shell.formats) for row in shown],
        older=shown[-1].id if len(found) > _SHOWN else None,
        query=query,
        answers=list(ANSWERS.items()),
        cautions=(CAUTION_LOOK, CAUTION_CROSSOVER, CAUTION_SHEET),
        may_check=may(shell.caller.role, Action.PULL),
    )
    answer.status_code = 200 if error is None else 422
    return answer


def _drum_id(tx: Tx, text: str) -> int | None:
    """Return which drum's checks are asked for; of what is no drum there are none."""
    if not text.strip():
        return None
    try:
        tag = drum_read(text)
    except Invalid:
        return 0
    return drum_rows.ids_by_tag(tx, tags=[tag]).get(tag, 0)


def _question(form: Mapping[str, str]) -> Question:
    pull = form.get("pull", "")
    if pull and not (pull.isdecimal() and len(pull) < 10):  # noqa: PLR2004 - 32 bits
        raise Invalid(
            "The list is not known.", [Fault("pull", pull, "is no list", "Choose one, or none.")]
        )
    try:
        identity = UUID(form.get("id", ""))
    except ValueError:
        fault = Fault("id", form.get("id"), "is no UUID", "Load the page again.")
        raise Invalid("The form cannot be used.", [fault]) from None
    return Question(
        client_id=identity,
        first=drum_read(form.get("first", ""), field="first"),
        second=drum_read(form.get("second", ""), field="second"),
        pull_id=int(pull) if pull else None,
        rig=form.get("rig") or None,
    )
