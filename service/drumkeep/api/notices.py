"""``/notices``: what was told of alarms to people elsewhere, and what became of it."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from drumkeep.api.schemas.notices import NoticeOut
from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.accounts import account_named
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.notices import Notice, NoticeAddress

router = APIRouter(prefix="/notices", tags=["notices"])


class NoticeQuery(BaseModel):
    """Which notices: of an alarm, in a state, to somebody; all by default."""

    model_config = {"extra": "forbid"}

    alarm: Line | None = None
    account: Line | None = None
    state: Literal["waiting", "sending", "sent", "failed", "dropped"] | None = None
    limit: Annotated[int, Field(ge=1, le=200)] = 50
    cursor: Line | None = None


@router.get("")
def list_notices(tx: ReadingDep, query: Annotated[NoticeQuery, Query()]) -> PageOf[NoticeOut]:
    """List notices, newest first."""
    before = None if query.cursor is None else rows.notice(tx, notice_id=query.cursor)
    if query.cursor is not None and before is None:
        mend = "Use the next_cursor of the page before, unchanged."
        raise Invalid(
            "The page is not known.",
            [Fault("cursor", query.cursor, "is no cursor of this list", mend)],
        )
    account = None if query.account is None else account_named(tx, name=query.account)
    found = rows.list_notices(
        tx,
        alarm_id=query.alarm,
        state=query.state,
        account_id=None if account is None else account.id,
        before=before,
        limit=query.limit + 1,
    )
    shown = found[: query.limit]
    owners = rows.owners(tx, address_ids=[notice.address_id for notice in shown])
    return PageOf(
        items=[notice_out(notice, *owners[notice.address_id]) for notice in shown],
        next_cursor=shown[-1].id if len(found) > query.limit else None,
    )


def notice_out(notice: Notice, address: NoticeAddress, account: Account) -> NoticeOut:
    """Return a notice as answered: nothing of the address but its channel."""
    return NoticeOut(
        id=notice.id,
        alarm=notice.alarm_id,
        account=account.name,
        to=account.display_name,
        channel=address.channel,
        occasion=notice.occasion,
        state=notice.state,
        tries=notice.tries,
        queued_at=notice.queued_at,
        next_try_at=notice.due_at if notice.state == "waiting" else None,
        ended_at=notice.ended_at,
        reason=notice.reason or None,
        text=notice.text or None,
    )
