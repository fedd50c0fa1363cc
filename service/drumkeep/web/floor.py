"""The floor, as shelves and as a table; the last choice is remembered."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.view_models import GRAVITY, DrumView
from drumkeep.web.views.floor import Sift, floor_view

router = APIRouter()

VIEW_COOKIE: Final = "drumkeep_floor"
_YEAR_S: Final = 365 * 86_400

Word = Annotated[str, Field(max_length=200)]
_LONG_AGO: Final = datetime.min.replace(tzinfo=UTC)
_NEVER: Final = datetime.max.replace(tzinfo=UTC)
_WARMEST: Final = 1e9


class FloorQuery(BaseModel):
    """The filter, and how to show the floor; unknown words show nothing rather than fail."""

    site: Word = ""
    side: Word = ""
    lot: Word = ""
    place: Word = ""
    readiness: Word = ""
    by: Word = ""
    output: Word = ""
    view: Word = ""
    sort: Word = "place"
    order: Word = ""

    def sift(self) -> Sift:
        """Return the filter."""
        return Sift(**{name: getattr(self, name) for name in Sift.__dataclass_fields__})


_SORTS: Final[Mapping[str, Callable[[DrumView], Any]]] = {
    "tag": lambda d: d.tag,
    "side": lambda d: (d.side, d.lot, d.tag),
    "lot": lambda d: (d.lot, d.tag),
    "place": lambda d: (d.site, d.place, d.lot, d.tag),
    "left": lambda d: d.net_kg,
    "bottom": lambda d: _WARMEST if d.bottom_c is None else d.bottom_c,
    "mean": lambda d: _WARMEST if d.mean_c is None else d.mean_c,
    "readiness": lambda d: (-GRAVITY.index(d.readiness), d.tag),
    "ready_at": lambda d: _LONG_AGO if d.readiness == "ready" else d.soonest_ready_at or _NEVER,
}


@router.get("/")
def home(_shell: ShellDep) -> Response:
    """Go to the floor."""
    return see("/floor")


@router.get("/floor")
def floor(
    request: Request, tx: ReadingDep, shell: ShellDep, query: Annotated[FloorQuery, Query()]
) -> Response:
    """Show the floor as shelves, or as the table if that was the last choice."""
    remembered = request.cookies.get(VIEW_COOKIE)
    if remembered == "table" and query.view != "shelves":
        address = "/floor/table"
        return see(f"{address}?{request.url.query}" if request.url.query else address)
    view = floor_view(
        tx, sift=query.sift(), formats=shell.formats, role=shell.caller.role, now=shell.now
    )
    response = shell.answer("floor.html", tx=tx, page="floor", floor=view)
    if query.view == "shelves":
        response.delete_cookie(VIEW_COOKIE, path="/")
    return response


@router.get("/floor/table")
def floor_table(
    tx: ReadingDep, shell: ShellDep, query: Annotated[FloorQuery, Query()]
) -> HTMLResponse:
    """Show the same content as a table, and remember the choice."""
    view = floor_view(
        tx,
        sift=query.sift(),
        formats=shell.formats,
        role=shell.caller.role,
        now=shell.now,
        worded=True,
    )
    sort = query.sort if query.sort in _SORTS else "place"
    descending = query.order == "descending"
    drums = [drum for shelf in view.shelves for group in shelf.groups for drum in group.drums]
    rows = sorted(drums, key=_SORTS[sort], reverse=descending)
    response = shell.answer(
        "floor_table.html",
        tx=tx,
        page="floor",
        floor=view,
        rows=rows,
        sort=sort,
        descending=descending,
    )
    response.set_cookie(VIEW_COOKIE, "table", max_age=_YEAR_S, httponly=True, samesite="lax")
    return response
