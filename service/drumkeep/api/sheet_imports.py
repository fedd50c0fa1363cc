"""``/imports/{what}``: a spreadsheet of products, lots or drums, checked or stored."""

from functools import partial
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query, Request, Response

from drumkeep.api.csv_bodies import refusal_of_kind
from drumkeep.api.schemas.sheet_imports import (
    SHEET_BODY,
    RowFateOut,
    RowFaultOut,
    SheetOut,
    SheetQuery,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, require, services
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.problems import shown
from drumkeep.domain.roles import Action
from drumkeep.operations.sheet_import import import_sheet

router = APIRouter(prefix="/imports", tags=["imports"])


@router.post("/{what}", response_model=SheetOut, openapi_extra=SHEET_BODY)
async def import_spreadsheet(
    request: Request,
    what: Literal["products", "lots", "drums"],
    query: Annotated[SheetQuery, Query()],
    now: Now,
    caller: Annotated[Caller, Depends(require(Action.CHANGE_CATALOGUE))],
) -> SheetOut | Response:
    """Store a spreadsheet's rows, or say each one's fate; sent again it is harmless.

    Where a row is refused nothing is stored (see ``stored``) unless ``take_good`` asks for it.
    """
    refused = refusal_of_kind(request)
    if refused is not None:
        return refused
    report = await services(request).database.write(
        partial(
            import_sheet,
            noun=what,
            content=await request.body(),
            by=by_caller(caller),
            now=now,
            check=query.check,
            take_good=query.take_good,
            day_first=query.day_first,
        )
    )
    return SheetOut(
        stored=report.stored,
        rows=[
            RowFateOut(
                row=row.line,
                fate=row.fate,
                thing=row.thing,
                faults=[
                    RowFaultOut(
                        field=one.field, value=shown(one.value), problem=one.problem, mend=one.mend
                    )
                    for one in row.faults
                ],
            )
            for row in report.rows
        ],
        totals=list(report.totals),
        unused_columns=list(report.unused),
    )
