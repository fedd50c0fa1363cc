"""Choosing labels of drums and places, and printing them."""

from collections.abc import Sequence
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may
from drumkeep.asgi.label_printing import printed
from drumkeep.domain.labels import MOST_AT_ONCE, SIZES
from drumkeep.domain.roles import Action, may
from drumkeep.domain.tags import parse
from drumkeep.operations.ground import read_premises
from drumkeep.operations.labels import LabelOrder
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.transaction import Tx
from drumkeep.web.forms import number_of
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.labels import label_lines
from drumkeep.web.views.places import place_choices

router = APIRouter()

SIZE_COOKIE: Final = "drumkeep_label"
_YEAR_S: Final = 365 * 86_400
_USUAL: Final = "4x6in"
# A browser shows a PDF in a page of its own making: with our own policy it stays empty.
_POLICY: Final = (
    "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"
)

Word = Annotated[str, Field(max_length=200)]


class LabelQuery(BaseModel):
    """Which drums: of a lot, in a place, or by their tags; or labels of places themselves."""

    lot: Word = ""
    place: Word = ""
    tags: Annotated[str, Field(max_length=5000)] = ""
    places: Annotated[list[Word], Field(max_length=MOST_AT_ONCE)] = []


@router.get("/labels")
def labels_page(
    request: Request, tx: ReadingDep, shell: ShellDep, query: Annotated[LabelQuery, Query()]
) -> HTMLResponse:
    """Choose drums or places, and a sheet."""
    premises = read_premises(tx)
    found = _chosen(tx, query)
    size = request.cookies.get(SIZE_COOKIE, _USUAL)
    return shell.answer(
        "labels.html",
        tx=tx,
        page="labels",
        query=query,
        drums=label_lines(tx, found[:MOST_AT_ONCE]),
        left_out=max(len(found) - MOST_AT_ONCE, 0),
        places=[
            (reference, place_named(tx, reference=reference, field="places").name)
            for reference in query.places
        ],
        choices=place_choices(premises),
        sizes=tuple(SIZES.values()),
        size=size if size in SIZES else _USUAL,
        address=request.app.state.public_url,
        may_print=may(shell.caller.role, Action.PRINT_LABELS),
    )


def _chosen(tx: Tx, query: LabelQuery) -> Sequence[StockRow]:
    """Return the drums that the query names; none if it names nothing."""
    tags = query.tags.replace(",", " ").split()
    if tags:
        wanted = {parse(tag, field="tags") for tag in tags}
        return [row for tag in wanted for row in rows.list_drums(tx, tag=tag)]
    if not (query.lot.strip() or query.place):
        return []
    place_ids = [place_named(tx, reference=query.place).id] if query.place else None
    return rows.list_drums(
        tx, lot=query.lot.strip() or None, place_ids=place_ids, limit=MOST_AT_ONCE * 5
    )


async def _sent(request: Request) -> dict[str, Any]:
    """Return the form with all that was ticked."""
    form = await request.form()
    told: dict[str, Any] = {n: v for n, v in form.items() if isinstance(v, str)}
    ticked = {name: [v for v in form.getlist(name) if isinstance(v, str)] for name in _TICKED}
    return told | ticked


_TICKED: Final = ("drums", "places")


@router.post("/labels")
async def print_labels(
    request: Request, shell: ShellDep, form: Annotated[dict[str, Any], Depends(_sent)]
) -> Response:
    """Answer the sheets as PDF; the size is remembered."""
    refuse_unless_may(shell.caller, Action.PRINT_LABELS)
    order = LabelOrder(
        size=form.get("size", ""),
        drums=form["drums"],
        places=form["places"],
        start=int(number_of(form, "start")),
        us=shell.caller.units == "us",
        language=shell.formats.language,
    )
    answer = await printed(request, order=order, caller=shell.caller, now=shell.now)
    answer.headers["Content-Security-Policy"] = _POLICY
    answer.set_cookie(SIZE_COOKIE, order.size, max_age=_YEAR_S, httponly=True, samesite="lax")
    return answer
