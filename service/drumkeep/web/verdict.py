"""The one-screen answer behind a drum's QR code."""

from collections.abc import Sequence

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.operations import drums
from drumkeep.storage import drums as rows
from drumkeep.storage.drums import StockRow
from drumkeep.web.formats import Formats
from drumkeep.web.shell import ShellDep
from drumkeep.web.templating import render
from drumkeep.web.view_models import VerdictView
from drumkeep.web.views.drums import drum_view, output_of, verdict_of

router = APIRouter()


@router.get("/d/{tag}")
def verdict_page(tx: ReadingDep, shell: ShellDep, tag: str) -> HTMLResponse:
    """Answer the crew: may I use this drum."""
    drum = drums.drum_tagged(tx, tag=tag)
    row = rows.list_drums(tx, tag=drum.tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    others = [] if row.drum.ended else rows.list_drums(tx, side=row.product.side, limit=None)
    view = verdict_view(row, others=others, formats=formats)
    html = render("verdict.html", verdict=view, formats=formats, nonce=shell.request.state.nonce)
    return HTMLResponse(html)


def verdict_view(row: StockRow, *, others: Sequence[StockRow], formats: Formats) -> VerdictView:
    """Return the answer, its one reason, its one time, and the one thing to do."""
    drum = drum_view(row, formats=formats)
    ready = drum.answer == "READY"
    return VerdictView(
        drum=drum,
        phrase=drum.answer,
        reason=drum.reasons[0] if drum.reasons else "",
        do=drum.advice[0] if drum.advice else "Take it: oldest lot and partial drums first.",
        time=drum.soonest_ready_at if drum.answer == "NOT YET" else None,
        where=drum.ready_where,
        nearest_ready=None if ready else _nearest(row, others),
    )


def _nearest(row: StockRow, others: Sequence[StockRow]) -> tuple[str, str] | None:
    """Return a ready drum to take instead: same product, lot and place as far as may be."""
    ready = [
        other
        for other in others
        if other.drum.id != row.drum.id
        and other.site.id == row.site.id
        and other.product.id == row.product.id
        and verdict_of(other, output=output_of(row))["answer"] == "READY"
    ]
    ready.sort(
        key=lambda o: (
            o.lot.id != row.lot.id,
            o.place.id != row.place.id,
            o.lot.made_on,
            o.drum.net_kg,
            o.drum.tag,
        )
    )
    return (ready[0].drum.tag, ready[0].place.name) if ready else None
