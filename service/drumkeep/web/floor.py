"""The floor, as shelves and as a table; the last choice is remembered."""

from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep, services
from drumkeep.operations.ground import read_premises
from drumkeep.storage import glances as rows
from drumkeep.storage.drums import list_drums
from drumkeep.storage.pulse import state
from drumkeep.storage.transaction import Tx
from drumkeep.web.forms import leaf_number
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.view_models import FloorView
from drumkeep.web.views.drums import drum_view
from drumkeep.web.views.floor import Sift, asked_for, floor_view

router = APIRouter()

VIEW_COOKIE: Final = "drumkeep_floor"
_YEAR_S: Final = 365 * 86_400

Word = Annotated[str, Field(max_length=200)]
ROWS_AT_ONCE: Final = 200
"""Of the table: more would take long to make, and nobody reads them."""


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
    page: Word = ""

    def sift(self) -> Sift:
        """Return the filter."""
        return Sift(**{name: getattr(self, name) for name in Sift.__dataclass_fields__})


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
    view = _view(tx, shell, query.sift())
    response = shell.answer("floor.html", tx=tx, page="floor", floor=view)
    if query.view == "shelves":
        response.delete_cookie(VIEW_COOKIE, path="/")
    return response


@router.get("/floor/table")
def floor_table(
    tx: ReadingDep, shell: ShellDep, query: Annotated[FloorQuery, Query()]
) -> HTMLResponse:
    """Show the same content as a table, and remember the choice."""
    view = _view(tx, shell, query.sift(), drawn=False)
    sort = query.sort if query.sort in rows.SORTS else "place"
    descending = query.order == "descending"
    total = sum(view.counts.values())
    pages = max(-(-total // ROWS_AT_ONCE), 1)
    number = min(leaf_number(query.page), pages)
    asked = asked_for(query.sift(), premises=read_premises(tx), formats=shell.formats)
    ids = (
        rows.page(
            tx,
            wanted=asked.wanted,
            sort=sort,
            descending=descending,
            start=(number - 1) * ROWS_AT_ONCE,
            limit=ROWS_AT_ONCE,
        )
        if total
        else []
    )
    stock = {row.drum.id: row for row in list_drums(tx, among=ids, limit=None)}
    response = shell.answer(
        "floor_table.html",
        tx=tx,
        page="floor",
        floor=view,
        rows=[drum_view(stock[i], formats=shell.formats, output=asked.output) for i in ids],
        total=total,
        number=number,
        pages=pages,
        sort=sort,
        descending=descending,
    )
    response.set_cookie(VIEW_COOKIE, "table", max_age=_YEAR_S, httponly=True, samesite="lax")
    return response


def _view(tx: Tx, shell: Shell, sift: Sift, *, drawn: bool = True) -> FloorView:
    """Return the floor; of many boards that are renewed together one has it worked out."""
    formats, role = shell.formats, shell.caller.role
    return services(shell.request).shared.get(
        (state(tx), sift, formats.units, formats.language, role, drawn),
        lambda: floor_view(tx, sift=sift, formats=formats, role=role, now=shell.now, drawn=drawn),
        now=shell.now,
    )
