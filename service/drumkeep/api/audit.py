"""``/audit``: who did what from where, a manager's business; nothing here can be changed."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query

from drumkeep.api.schemas.audit import AuditAsked, EntryOut, PartOut
from drumkeep.asgi.dependencies import ReadingDep, require
from drumkeep.asgi.fields import PageOf
from drumkeep.domain.roles import Action
from drumkeep.operations import audit
from drumkeep.operations.audit import Entry

router = APIRouter(
    prefix="/audit", tags=["audit"], dependencies=[Depends(require(Action.SEE_AUDIT))]
)


@router.get("")
def list_entries(tx: ReadingDep, asked: Annotated[AuditAsked, Query()]) -> PageOf[EntryOut]:
    """List what was done, the newest first."""
    found = audit.find(tx, query=asked.query(), before=asked.cursor, limit=asked.limit + 1)
    shown = found[: asked.limit]
    more = len(found) > asked.limit
    return PageOf(
        items=[_out(entry) for entry in shown],
        next_cursor=str(shown[-1].id) if more else None,
    )


def _out(entry: Entry) -> EntryOut:
    return EntryOut(
        id=entry.id,
        at=entry.at,
        deed=entry.deed,
        actor=entry.actor,
        role=entry.role,
        way=entry.way,
        session=entry.session,
        device=entry.device,
        address=entry.address,
        did=entry.did,
        kind=entry.kind,
        thing=entry.thing,
        parts=[
            PartOut(of=part.of, verb=part.verb, fields=dict(part.fields)) for part in entry.parts
        ],
    )
