"""``/alarms``: by cause, with the drums under each."""

from collections.abc import Sequence
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from drumkeep.api.schemas.alarms import AlarmEntryOut, AlarmOut, ShelveIn
from drumkeep.asgi.dependencies import CurrentAccount, Now, ReadingDep, TransactionDep
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.wording import plain
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import alarms
from drumkeep.storage import alarms as rows
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/alarms", tags=["alarms"])


class AlarmQuery(BaseModel):
    """Which alarms: open ones, those in one state, or all."""

    model_config = {"extra": "forbid"}

    state: (
        Literal[
            "open",
            "normal",
            "unacknowledged",
            "acknowledged",
            "returned_unacknowledged",
            "shelved",
            "suppressed",
            "out_of_service",
        ]
        | None
    ) = None
    limit: Annotated[int, Field(ge=1, le=200)] = 50
    cursor: Line | None = None


@router.get("")
def list_alarms(tx: ReadingDep, query: Annotated[AlarmQuery, Query()]) -> PageOf[AlarmOut]:
    """List alarms, newest first; open ones as a person takes them."""
    if query.cursor is not None and rows.alarm(tx, alarm_id=query.cursor) is None:
        mend = "Use the next_cursor of the page before, unchanged."
        raise Invalid(
            "The page is not known.",
            [Fault("cursor", query.cursor, "is no cursor of this list", mend)],
        )
    if query.state == "open":
        found = _past(alarms.open_first(rows.open_alarms(tx)), query.cursor)
    else:
        found = rows.list_alarms(tx, state=query.state, before=query.cursor, limit=query.limit + 1)
    shown = found[: query.limit]
    more = len(found) > query.limit
    return PageOf(items=_out(tx, shown), next_cursor=shown[-1].id if more else None)


def _past(ordered: Sequence[Alarm], cursor: str | None) -> Sequence[Alarm]:
    """Return the alarms past the one that the cursor names; all if it is not open any more."""
    places = [place for place, alarm in enumerate(ordered) if alarm.id == cursor]
    return ordered[places[0] + 1 :] if places else ordered


@router.get("/{alarm_id}")
def get_alarm(tx: ReadingDep, alarm_id: str) -> AlarmOut:
    """Get an alarm with its history."""
    return _out(tx, [alarms.alarm_at(tx, alarm_id=alarm_id)])[0]


@router.post("/{alarm_id}/acknowledge")
def acknowledge(tx: TransactionDep, alarm_id: str, caller: CurrentAccount, now: Now) -> AlarmOut:
    """Record that one has seen an alarm and acts on it."""
    return _out(tx, [alarms.acknowledge(tx, alarm_id=alarm_id, by=by_caller(caller), now=now)])[0]


@router.post("/{alarm_id}/shelve")
def shelve(
    tx: TransactionDep, alarm_id: str, body: ShelveIn, caller: CurrentAccount, now: Now
) -> AlarmOut:
    """Put an alarm aside for a while."""
    return _out(
        tx,
        [
            alarms.shelve(
                tx,
                alarm_id=alarm_id,
                minutes=body.minutes,
                reason=body.reason,
                by=by_caller(caller),
                now=now,
            )
        ],
    )[0]


def _out(tx: Tx, found: Sequence[Alarm]) -> list[AlarmOut]:
    history = rows.history(tx, alarm_ids=[alarm.id for alarm in found])
    return [
        AlarmOut(
            id=alarm.id,
            kind=alarm.kind,
            cause=alarm.cause,
            state=alarm.state,
            phase=alarm.details.get("phase", "now"),
            priority=alarm.priority,
            audience=alarm.audience,
            message=plain(alarm.message),
            drums=alarm.drums,
            deadline=alarm.deadline,
            raised_at=alarm.raised_at,
            changed_at=alarm.changed_at,
            acknowledged_at=alarm.acknowledged_at,
            acknowledged_by=alarm.acknowledged_by,
            returned_at=alarm.returned_at,
            shelved_until=alarm.shelved_until,
            history=[
                AlarmEntryOut(at=entry.at, state=entry.state, words=plain(entry.words), by=entry.by)
                for entry in history[alarm.id]
            ],
        )
        for alarm in found
    ]
