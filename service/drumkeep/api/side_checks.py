"""``/side-checks``: may two drums be hooked up together; every answer is kept."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.api.schemas.pulls import CheckedDrumOut, SideCheckIn, SideCheckOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action
from drumkeep.domain.side_checks import CheckAnswer
from drumkeep.domain.wording import plain
from drumkeep.operations.drums import drum_tagged
from drumkeep.operations.side_checks import Question, check_at, check_drums
from drumkeep.storage import side_checks as rows
from drumkeep.storage.catalogue import place_references
from drumkeep.storage.tables.side_checks import SideCheck
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/side-checks", tags=["side checks"])


class CheckQuery(PageQuery):
    """Of which drum, and which answer."""

    drum: Line | None = None
    answer: CheckAnswer | None = None


@router.get("")
def list_checks(tx: ReadingDep, query: Annotated[CheckQuery, Query()]) -> PageOf[SideCheckOut]:
    """List the checks as they were answered, the latest first."""
    found = rows.checks(
        tx,
        drum_id=None if query.drum is None else drum_tagged(tx, tag=query.drum).id,
        answer=query.answer,
        before=query.after or None,
        limit=query.limit + 1,
    )
    shown = found[: query.limit]
    more = len(found) > query.limit
    return PageOf(items=_out(tx, shown), next_cursor=cursor_after(shown[-1].id) if more else None)


@router.post("", status_code=201)
def check(
    tx: TransactionDep,
    body: SideCheckIn,
    caller: Annotated[Caller, Depends(require(Action.PULL))],
    now: Now,
    response: Response,
) -> SideCheckOut:
    """Say whether two drums may be hooked up together, and keep the answer."""
    question = Question(
        client_id=body.id, first=body.first, second=body.second, pull_id=body.pull, rig=body.rig
    )
    found = check_drums(tx, question=question, by=by_caller(caller), now=now)
    located(response, "side-checks", found.id)
    return _out(tx, [found])[0]


@router.get("/{check_id}")
def get_check(tx: ReadingDep, check_id: RowId) -> SideCheckOut:
    """Get a check as it was answered."""
    return _out(tx, [check_at(tx, check_id=check_id)])[0]


def _out(tx: Tx, found: Sequence[SideCheck]) -> list[SideCheckOut]:
    places = place_references(tx, ids=[row.place_id for row in found])
    return [
        SideCheckOut(
            id=row.id,
            at=row.at,
            by=row.by,
            answer=CheckAnswer(row.answer),
            reasons=[plain(text) for text in row.told["reasons"]],
            drums=[CheckedDrumOut(**drum) for drum in row.told["drums"]],
            pull=row.pull_id,
            rig=None if row.place_id is None else places[row.place_id],
        )
        for row in found
    ]
