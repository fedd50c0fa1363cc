"""``/labels``: sheets of labels as PDF, the sizes there are, and what was printed."""

from collections.abc import Sequence
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response
from pydantic import Field

from drumkeep.api.paging import PageQuery, page_of
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import CurrentAccount, Now, ReadingDep, require
from drumkeep.asgi.fields import Answer, Body, Line, MomentOut, PageOf
from drumkeep.asgi.label_printing import printed
from drumkeep.domain.labels import SIZES
from drumkeep.domain.roles import Action
from drumkeep.operations.drums import drum_tagged
from drumkeep.operations.labels import LabelOrder
from drumkeep.operations.places import place_named
from drumkeep.storage import labels as rows
from drumkeep.storage.catalogue import place_references
from drumkeep.storage.drums import tags_by_id
from drumkeep.storage.tables.labels import LabelPrint
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/labels", tags=["labels"])

PrinterDep = Annotated[Caller, Depends(require(Action.PRINT_LABELS))]

_MOST_SENT: Final = 500


class LabelsIn(Body):
    """Labels of drums and places, ``start`` the first free one of the first sheet, from 1."""

    size: Line
    drums: Annotated[list[Line], Field(max_length=_MOST_SENT, default_factory=list)]
    places: Annotated[list[Line], Field(max_length=_MOST_SENT, default_factory=list)]
    start: Annotated[int, Field(ge=1, le=100)] = 1
    units: Literal["us", "si"] | None = None


class LabelSizeOut(Answer):
    """A size of label; mm."""

    code: str
    words: str
    sheet_width_mm: float
    sheet_height_mm: float
    width_mm: float
    height_mm: float
    columns: int
    rows: int


class LabelPrintOut(Answer):
    """A label that was printed, of a drum or of a place; a reprint if it was not the first."""

    drum: str | None
    place: str | None
    at: MomentOut
    by: str
    size: str
    copy_number: int
    reprint: bool


class PrintQuery(PageQuery):
    """Of which drum or place."""

    drum: Line | None = None
    place: Line | None = None


@router.post("", response_class=Response, responses={200: {"content": {"application/pdf": {}}}})
async def print_labels(request: Request, body: LabelsIn, caller: PrinterDep, now: Now) -> Response:
    """Make a PDF of labels, and put on record who printed them."""
    order = LabelOrder(
        size=body.size,
        drums=body.drums,
        places=body.places,
        start=body.start,
        us=(body.units or caller.units) == "us",
        language=caller.language,
    )
    return await printed(request, order=order, caller=caller, now=now)


@router.get("/sizes")
async def list_sizes(_caller: CurrentAccount) -> PageOf[LabelSizeOut]:
    """List the sizes of labels."""
    return PageOf(
        items=[
            LabelSizeOut(
                code=size.code,
                words=size.words,
                sheet_width_mm=round(size.sheet[0], 2),
                sheet_height_mm=round(size.sheet[1], 2),
                width_mm=round(size.width, 2),
                height_mm=round(size.height, 2),
                columns=size.columns,
                rows=size.rows,
            )
            for size in SIZES.values()
        ]
    )


@router.get("")
def list_prints(tx: ReadingDep, query: Annotated[PrintQuery, Query()]) -> PageOf[LabelPrintOut]:
    """List the labels that were printed, in the order of printing."""
    found = rows.list_prints(
        tx,
        drum_id=None if query.drum is None else drum_tagged(tx, tag=query.drum).id,
        place_id=None if query.place is None else place_named(tx, reference=query.place).id,
        after=query.after,
        limit=query.limit + 1,
    )
    return page_of(found, lambda some: _out(tx, some), limit=query.limit)


def _out(tx: Tx, prints: Sequence[LabelPrint]) -> list[LabelPrintOut]:
    tags = tags_by_id(tx, ids=[row.drum_id for row in prints if row.drum_id is not None])
    places = place_references(tx, ids=[row.place_id for row in prints])
    return [
        LabelPrintOut(
            drum=None if row.drum_id is None else tags[row.drum_id],
            place=None if row.place_id is None else places[row.place_id],
            at=row.at,
            by=row.by,
            size=row.size,
            copy_number=row.copy_number,
            reprint=row.copy_number > 1,
        )
        for row in prints
    ]
