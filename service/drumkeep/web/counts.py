"""Counting a place: scan what is there one after another, then mend what differs, tap by tap."""

from collections import Counter
from typing import Annotated, Final
from uuid import uuid4

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action, may
from drumkeep.domain.scans import drum_read
from drumkeep.operations import counts
from drumkeep.operations.ground import read_premises
from drumkeep.storage import catalogue
from drumkeep.storage import counts as rows
from drumkeep.web.drums import posted
from drumkeep.web.forms import form_id
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.counts import CountLine, count_view
from drumkeep.web.views.places import place_choices

router = APIRouter()

Form = Annotated[dict[str, str], Depends(posted)]
_LISTED: Final = 50


@router.get("/stock/counts")
def counts_page(tx: ReadingDep, shell: ShellDep, place: str = "") -> HTMLResponse:
    """Choose a place to count, and see the counts that were made."""
    premises = read_premises(tx)
    found = rows.counts(tx, limit=_LISTED)
    ids = [row.id for row in found]
    numbers = rows.seen_numbers(tx, count_ids=ids)
    differing = rows.differences(tx, count_ids=ids)
    differ = Counter(one.count_id for one in differing)
    waiting = Counter(one.count_id for one in differing if one.mend is None)
    return shell.answer(
        "counts.html",
        tx=tx,
        page="stock",
        counts=tuple(
            CountLine(
                id=row.id,
                place=premises.places[row.place_id].name,
                begun_at=row.begun_at,
                by=row.by,
                finished_at=row.finished_at,
                seen=numbers.get(row.id, 0),
                differences=differ[row.id],
                waiting=waiting[row.id],
                timezone=premises.sites[premises.places[row.place_id].site_id].timezone,
            )
            for row in found
        ),
        places=place_choices(premises),
        chosen=place,
        id=str(uuid4()),
        may_count=may(shell.caller.role, Action.KEEP_STOCK),
    )


@router.post("/stock/counts")
def begin(tx: TransactionDep, shell: ShellDep, form: Form) -> Response:
    """Begin to count a place, or go on with its count."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    count = counts.begin_count(
        tx,
        place=form.get("place", ""),
        client_id=form_id(form),
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/stock/counts/{count.id}")


@router.get("/stock/counts/{count_id}")
def count_page(tx: ReadingDep, shell: ShellDep, count_id: RowId, last: str = "") -> HTMLResponse:
    """Show a count: scan on while it is open, mend what differs once it is finished."""
    found = counts.count_now(tx, count_id=count_id)
    place = catalogue.places_by_id(tx, ids=[found.row.place_id])[found.row.place_id]
    site = catalogue.sites_by_id(tx, ids=[place.site_id])[place.site_id]
    return shell.answer(
        "count.html",
        tx=tx,
        page="stock",
        formats=shell.formats.at(site.timezone),
        count=count_view(tx, found, place=place, site=site, last=last),
        may_count=may(shell.caller.role, Action.KEEP_STOCK),
    )


@router.post("/stock/counts/{count_id}/seen")
def see_drum(tx: TransactionDep, shell: ShellDep, count_id: RowId, form: Form) -> Response:
    """Record that a drum was seen."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    tag = drum_read(form.get("scan", ""))
    by = by_caller(shell.caller)
    if form.get("take_back"):
        counts.unsee_drum(tx, count_id=count_id, tag=tag)
        return see(f"/stock/counts/{count_id}")
    seen = counts.see_drum(tx, count_id=count_id, tag=tag, by=by, now=shell.now)
    return see(f"/stock/counts/{count_id}?last={seen.tag}")


@router.post("/stock/counts/{count_id}/finish")
def finish(tx: TransactionDep, shell: ShellDep, count_id: RowId, form: Form) -> Response:  # noqa: ARG001 - its token is checked
    """Finish a count; nothing changes by it but that its differences are written down."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    counts.finish_count(tx, count_id=count_id, by=by_caller(shell.caller), now=shell.now)
    return see(f"/stock/counts/{count_id}")


@router.post("/stock/counts/{count_id}/mend")
def mend(tx: TransactionDep, shell: ShellDep, count_id: RowId, form: Form) -> Response:
    """Mend one difference."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    counts.mend_difference(
        tx,
        count_id=count_id,
        tag=form.get("tag", ""),
        mend=form.get("mend", ""),
        event_id=form_id(form),
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/stock/counts/{count_id}#differences")
