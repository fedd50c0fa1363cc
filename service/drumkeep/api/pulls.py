"""``/pulls``: the drums that a crew takes along, ready in time, ticked off one by one."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.api.schemas.pulls import (
    CloseIn,
    MissingOut,
    PullDrumOut,
    PullHeadOut,
    PullIn,
    PullOut,
    ReasonOut,
    TagIn,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf, RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action
from drumkeep.domain.wording import plain
from drumkeep.operations import pulls
from drumkeep.operations.pulls import Line, Order, SideNow
from drumkeep.storage import catalogue
from drumkeep.storage import pulls as rows
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/pulls", tags=["pulls"])
PullerDep = Annotated[Caller, Depends(require(Action.PULL))]


class PullQuery(PageQuery):
    """Which lists."""

    open: bool = False


@router.get("")
def list_pulls(tx: ReadingDep, query: Annotated[PullQuery, Query()]) -> PageOf[PullHeadOut]:
    """List the pull lists, the latest first; only open ones if asked."""
    found = rows.pulls(tx, open_only=query.open, before=query.after or None, limit=query.limit + 1)
    shown = found[: query.limit]
    more = len(found) > query.limit
    return PageOf(items=_heads(tx, shown), next_cursor=cursor_after(shown[-1].id) if more else None)


@router.post("", status_code=201)
def make_pull(
    tx: TransactionDep, body: PullIn, caller: PullerDep, now: Now, response: Response
) -> PullOut:
    """Pick drums that are ready in time; what is missing is told."""
    order = Order(
        client_id=body.id,
        site=body.site,
        iso=body.iso,
        resin=body.resin,
        sets=body.sets,
        output=body.output,
        wanted_at=body.wanted_at,
    )
    pull = pulls.make_pull(tx, order=order, by=by_caller(caller), now=now)
    located(response, "pulls", pull.id)
    return _out(tx, pull.id, now=now)


@router.get("/{pull_id}")
def get_pull(tx: ReadingDep, pull_id: RowId, now: Now) -> PullOut:
    """Get a list with how its drums stand now."""
    return _out(tx, pull_id, now=now)


@router.post("/{pull_id}/fill")
def fill(tx: TransactionDep, pull_id: RowId, _caller: PullerDep, now: Now) -> PullOut:
    """Look anew for what is missing."""
    pulls.fill_pull(tx, pull_id=pull_id, now=now)
    return _out(tx, pull_id, now=now)


@router.post("/{pull_id}/take")
def take(tx: TransactionDep, pull_id: RowId, body: TagIn, caller: PullerDep, now: Now) -> PullOut:
    """Tick a drum off; a wrong one, or one that is not ready, is refused with the right one."""
    pulls.take_drum(tx, pull_id=pull_id, tag=body.tag, by=by_caller(caller), now=now)
    return _out(tx, pull_id, now=now)


@router.post("/{pull_id}/back")
def back(tx: TransactionDep, pull_id: RowId, body: TagIn, _caller: PullerDep, now: Now) -> PullOut:
    """Take back that a drum was ticked off."""
    pulls.put_back(tx, pull_id=pull_id, tag=body.tag)
    return _out(tx, pull_id, now=now)


@router.post("/{pull_id}/swap")
def swap(tx: TransactionDep, pull_id: RowId, body: TagIn, caller: PullerDep, now: Now) -> PullOut:
    """Put the nearest ready drum in the place of one."""
    pulls.swap_drum(tx, pull_id=pull_id, tag=body.tag, by=by_caller(caller), now=now)
    return _out(tx, pull_id, now=now)


@router.post("/{pull_id}/close")
def close(
    tx: TransactionDep, pull_id: RowId, body: CloseIn, caller: PullerDep, now: Now
) -> PullOut:
    """Close a list: its drums are free for others."""
    done = body.closed_as == pulls.DONE
    pulls.close_pull(tx, pull_id=pull_id, done=done, by=by_caller(caller), now=now)
    return _out(tx, pull_id, now=now)


def _heads(tx: Tx, found: Sequence[Pull]) -> list[PullHeadOut]:
    sites = catalogue.sites_by_id(tx, ids=[pull.site_id for pull in found])
    ids = [product_id for pull in found for product_id in (pull.iso_id, pull.resin_id)]
    products = catalogue.products_by_id(tx, ids=ids)
    return [
        PullHeadOut(
            id=pull.id,
            site=sites[pull.site_id].code,
            iso=products[pull.iso_id].code,
            resin=products[pull.resin_id].code,
            output=pull.output,
            sets=pull.sets,
            wanted_at=pull.wanted_at,
            made_at=pull.made_at,
            by=pull.by,
            closed_at=pull.closed_at,
            closed_by=pull.closed_by,
            closed_as=pull.closed_as,
        )
        for pull in found
    ]


def _out(tx: Tx, pull_id: int, *, now: Now) -> PullOut:
    found = pulls.pull_now(tx, pull_id=pull_id, now=now)
    (head,) = _heads(tx, [found.pull])
    return PullOut(
        **head.model_dump(),
        drums=[_drum(line) for side in found.sides.values() for line in side.lines],
        missing=[
            _missing(name, side) for name, side in found.sides.items() if side.missing is not None
        ],
        mixed_lots=[name for name, side in found.sides.items() if side.mixed],
    )


def _drum(line: Line) -> PullDrumOut:
    row = line.standing.row
    return PullDrumOut(
        tag=row.drum.tag,
        side=row.product.side,
        lot=row.lot.code,
        place=f"{row.site.code}/{row.place.code}",
        net_kg=row.drum.net_kg,
        hindrance=line.standing.hindrance,
        reason=plain(line.standing.reason),
        taken_at=line.row.taken_at,
        taken_by=line.row.taken_by,
    )


def _missing(name: str, side: SideNow) -> MissingOut:
    missing = side.missing
    assert missing is not None  # noqa: S101 - asked for where there is one
    return MissingOut(
        side=name,
        count=missing.count,
        ready=missing.ready,
        waiting=missing.waiting,
        could_at=missing.could_at,
        warm_room=missing.warm_room,
        reasons=[ReasonOut(why=why, drums=drums) for why, drums in missing.reasons],
        unlooked=missing.unlooked,
    )
