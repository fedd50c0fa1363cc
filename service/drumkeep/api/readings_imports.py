"""``/readings/imports``: a logger's download, checked or stored."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request, Response

from drumkeep.api.csv_bodies import refusal_of_kind
from drumkeep.api.schemas.readings_imports import (
    IMPORT_BODY,
    ImportOut,
    ImportQuery,
    RefusedExampleOut,
    RefusedKindOut,
    SensorShareOut,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import DatabaseDep, Now, require
from drumkeep.asgi.imports import bring_in
from drumkeep.asgi.problems import shown
from drumkeep.domain.logger_columns import said_of_column
from drumkeep.domain.roles import Action
from drumkeep.operations.readings_import import ImportAsked

router = APIRouter(prefix="/readings/imports", tags=["readings"])


@router.post("", response_model=ImportOut, openapi_extra=IMPORT_BODY)
async def import_readings(
    request: Request,
    query: Annotated[ImportQuery, Query()],
    database: DatabaseDep,
    now: Now,
    _caller: Annotated[Caller, Depends(require(Action.CHANGE_CATALOGUE))],
) -> ImportOut | Response:
    """Store the readings of a logger's download, however far back; sent again it is harmless.

    It is stored in portions, each whole or not at all. Drums are computed again from the first
    reading that is new.
    """
    refused = refusal_of_kind(request)
    if refused is not None:
        return refused
    asked = ImportAsked(
        name=query.name,
        gateway=query.gateway,
        site=query.site,
        zone=query.zone,
        day_first=query.day_first,
        time=query.time,
        sensors=dict(said_of_column(text, field="sensor") for text in query.sensor),
        units=dict(said_of_column(text, field="unit") for text in query.unit),
    )
    content = await request.body()
    report = await bring_in(database, content=content, asked=asked, check=query.check, now=now)
    return ImportOut(
        checked_only=query.check,
        stored=report.stored,
        duplicates=report.duplicates,
        doubled=report.doubled,
        empty=report.empty,
        refused=[
            RefusedKindOut(
                problem=some.problem,
                mend=some.mend,
                count=some.count,
                examples=[
                    RefusedExampleOut(line=one.line, column=one.column, value=shown(one.value))
                    for one in some.examples
                ],
            )
            for some in report.refused
        ],
        sensors=[
            SensorShareOut(
                name=share.name,
                column=share.column,
                quantity=share.quantity.value,
                readings=share.readings,
                first_at=share.first_at,
                last_at=share.last_at,
                low=share.low,
                high=share.high,
            )
            for share in report.sensors
        ],
        unused_columns=list(report.unused),
        notes=list(report.notes),
    )
