"""``/imports/{what}``: a spreadsheet of products, lots, drums or events, checked or stored."""

from datetime import datetime
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
from drumkeep.asgi.sheets import MOST_ROWS, bring_in_sheet
from drumkeep.domain.roles import Action

router = APIRouter(prefix="/imports", tags=["imports"])


@router.post("/drums", response_model=SheetOut, openapi_extra=SHEET_BODY)
async def import_drums(
    request: Request,
    query: Annotated[SheetQuery, Query()],
    now: Now,
    caller: Annotated[Caller, Depends(require(Action.RECORD))],
) -> SheetOut | Response:
    """Receive a spreadsheet's drums, or say each row's fate; sent again it is harmless.

    Where a row is refused nothing is stored (see ``stored``) unless ``take_good`` asks for it.
    """
    return await _bring_in(request, "drums", query, now=now, caller=caller)


@router.post("/events", response_model=SheetOut, openapi_extra=SHEET_BODY)
async def import_events(
    request: Request,
    query: Annotated[SheetQuery, Query()],
    now: Now,
    caller: Annotated[Caller, Depends(require(Action.RECORD))],
) -> SheetOut | Response:
    """Record what happened to drums, the earliest first, or say each row's fate; as with drums."""
    return await _bring_in(request, "events", query, now=now, caller=caller)


@router.post("/{what}", response_model=SheetOut, openapi_extra=SHEET_BODY)
async def import_catalogue(
    request: Request,
    what: Literal["products", "lots"],
    query: Annotated[SheetQuery, Query()],
    now: Now,
    caller: Annotated[Caller, Depends(require(Action.CHANGE_CATALOGUE))],
) -> SheetOut | Response:
    """Store a spreadsheet's products or lots, or say each row's fate; as with drums."""
    return await _bring_in(request, what, query, now=now, caller=caller)


async def _bring_in(
    request: Request, what: str, query: SheetQuery, *, now: datetime, caller: Caller
) -> SheetOut | Response:
    refused = refusal_of_kind(request)
    if refused is not None:
        return refused
    report = await services(request).database.write(
        partial(
            bring_in_sheet,
            noun=what,
            content=await request.body(),
            by=by_caller(caller),
            now=now,
            most=MOST_ROWS,
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
                read={name: str(meant) for name, meant in row.meant.items()},
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
