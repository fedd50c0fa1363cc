"""The one-screen answer behind a drum's QR code."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.domain.grid import step_at
from drumkeep.domain.pulls import FRESH
from drumkeep.domain.roles import Action, may
from drumkeep.operations import drums
from drumkeep.storage import drums as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.glances import nearest_ready
from drumkeep.storage.pulls import on_open_lists
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.shell import ShellDep
from drumkeep.web.templating import render
from drumkeep.web.view_models import DrumView, VerdictView
from drumkeep.web.views.drums import drum_view, output_of

router = APIRouter()

NEVER: Final = datetime.min.replace(tzinfo=UTC)


@router.get("/d/{tag}")
def verdict_page(tx: ReadingDep, shell: ShellDep, tag: str) -> HTMLResponse:
    """Answer the crew: may I use this drum."""
    drum = drums.drum_tagged(tx, tag=tag)
    row = rows.list_drums(tx, tag=drum.tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    view = verdict_view(tx, row, formats=formats)
    view = replace(view, may_record=may(shell.caller.role, Action.RECORD))
    html = render("verdict.html", verdict=view, formats=formats, nonce=shell.request.state.nonce)
    return HTMLResponse(html)


def verdict_view(tx: Tx, row: StockRow, *, formats: Formats) -> VerdictView:
    """Return the answer, its one reason, its one time, and the one thing to do."""
    drum = drum_view(row, formats=formats)
    if drum.answer == "READY" and (drum.computed_at or NEVER) < formats.now - FRESH:
        drum = _not_known(drum)
    ready = drum.answer == "READY"
    return VerdictView(
        drum=drum,
        phrase=drum.answer,
        reason=drum.reasons[0] if drum.reasons else "",
        do=drum.advice[0] if drum.advice else "Take it: oldest lot and partial drums first.",
        time=drum.soonest_ready_at if drum.answer == "NOT YET" else None,
        where=drum.ready_where,
        nearest_ready=None if ready or row.drum.ended else _nearest(tx, row, now=formats.now),
    )


def _not_known(drum: DrumView) -> DrumView:
    """Say of a drum that was ready that nobody knows how it is now: the computing has stopped."""
    return replace(
        drum,
        answer="ASK",
        readiness="unknown",
        reasons=("It was ready when it was last computed; how it is now nobody knows.",),
        advice=("Dip the liquid, and tell the manager that nothing is computed any more.",),
    )


def _nearest(tx: Tx, row: StockRow, *, now: datetime) -> tuple[str, str] | None:
    """Return a ready drum to take instead that nobody has on a list, and where it stands."""
    return nearest_ready(
        tx,
        drum=row.drum,
        site_id=row.site.id,
        product_id=row.product.id,
        output=output_of(row).value,
        since=step_at(now - FRESH),
        but=on_open_lists(),
    )
