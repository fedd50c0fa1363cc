"""``/counts``: count what stands in a place, and mend what differs from the records."""

from collections import Counter
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageDep, cursor_after
from drumkeep.api.schemas.counts import (
    CountIn,
    CountLineOut,
    CountOut,
    DifferenceOut,
    MendIn,
    SeenIn,
    SeenOut,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.counts import MENDS, DifferenceKind
from drumkeep.domain.roles import Action
from drumkeep.operations import counts
from drumkeep.storage import catalogue
from drumkeep.storage import counts as rows
from drumkeep.storage.tables.counts import Count, CountDifference
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/counts", tags=["counts"])
CounterDep = Annotated[Caller, Depends(require(Action.KEEP_STOCK))]


@router.get("")
def list_counts(tx: ReadingDep, query: PageDep) -> PageOf[CountLineOut]:
    """List the counts, the latest first."""
    found = rows.counts(tx, before=query.after or None, limit=query.limit + 1)
    shown = found[: query.limit]
    more = len(found) > query.limit
    return PageOf(
        items=_lines_out(tx, shown), next_cursor=cursor_after(shown[-1].id) if more else None
    )


@router.post("", status_code=201)
def begin(
    tx: TransactionDep, body: CountIn, caller: CounterDep, now: Now, response: Response
) -> CountOut:
    """Begin to count a place; where its count is not finished, go on with that one."""
    by = by_caller(caller)
    count = counts.begin_count(tx, place=body.place, client_id=body.id, by=by, now=now)
    located(response, "counts", count.id)
    return _out(tx, count.id)


@router.get("/{count_id}")
def get_count(tx: ReadingDep, count_id: RowId) -> CountOut:
    """Get a count with what was seen and what differs."""
    return _out(tx, count_id)


@router.post("/{count_id}/seen", status_code=201)
def see(tx: TransactionDep, count_id: RowId, body: SeenIn, caller: CounterDep, now: Now) -> SeenOut:
    """Record that a drum was seen."""
    by = by_caller(caller)
    seen = counts.see_drum(tx, count_id=count_id, tag=body.tag, by=by, now=now)
    return SeenOut(tag=seen.tag, known=seen.drum_id is not None, at=seen.at, by=seen.by)


@router.delete("/{count_id}/seen/{tag}", status_code=204)
def unsee(tx: TransactionDep, count_id: RowId, tag: str, _caller: CounterDep) -> None:
    """Take back what was scanned by mistake."""
    counts.unsee_drum(tx, count_id=count_id, tag=tag)


@router.post("/{count_id}/finish")
def finish(tx: TransactionDep, count_id: RowId, caller: CounterDep, now: Now) -> CountOut:
    """Finish a count: what differs is written down; nothing else changes."""
    counts.finish_count(tx, count_id=count_id, by=by_caller(caller), now=now)
    return _out(tx, count_id)


@router.post("/{count_id}/mends", status_code=201)
def mend(
    tx: TransactionDep, count_id: RowId, body: MendIn, caller: CounterDep, now: Now
) -> DifferenceOut:
    """Mend one difference of a finished count."""
    row = counts.mend_difference(
        tx,
        count_id=count_id,
        tag=body.tag,
        mend=body.mend,
        event_id=body.id,
        by=by_caller(caller),
        now=now,
    )
    return _differences_out(tx, [row])[0]


def _out(tx: Tx, count_id: int) -> CountOut:
    found = counts.count_now(tx, count_id=count_id)
    row = found.row
    return CountOut(
        id=row.id,
        place=catalogue.place_references(tx, ids=[row.place_id])[row.place_id],
        begun_at=row.begun_at,
        by=row.by,
        finished_at=row.finished_at,
        finished_by=row.finished_by,
        seen=[
            SeenOut(tag=one.tag, known=one.drum_id is not None, at=one.at, by=one.by)
            for one in found.seen
        ],
        differences=_differences_out(tx, found.differences),
    )


def _differences_out(tx: Tx, found: Sequence[CountDifference]) -> list[DifferenceOut]:
    places = catalogue.place_references(tx, ids=[one.recorded_id for one in found])
    return [
        DifferenceOut(
            kind=one.kind,
            tag=one.tag,
            recorded=None if one.recorded_id is None else places[one.recorded_id],
            mends=list(MENDS[DifferenceKind(one.kind)]),
            mend=one.mend,
            mended_at=one.mended_at,
            mended_by=one.mended_by,
            event=one.event_id,
        )
        for one in found
    ]


def _lines_out(tx: Tx, shown: Sequence[Count]) -> list[CountLineOut]:
    ids = [row.id for row in shown]
    places = catalogue.place_references(tx, ids=[row.place_id for row in shown])
    numbers = rows.seen_numbers(tx, count_ids=ids)
    found = rows.differences(tx, count_ids=ids)
    differ = Counter(one.count_id for one in found)
    waiting = Counter(one.count_id for one in found if one.mend is None)
    return [
        CountLineOut(
            id=row.id,
            place=places[row.place_id],
            begun_at=row.begun_at,
            by=row.by,
            finished_at=row.finished_at,
            seen=numbers.get(row.id, 0),
            differences=differ[row.id],
            open=waiting[row.id],
        )
        for row in shown
    ]
