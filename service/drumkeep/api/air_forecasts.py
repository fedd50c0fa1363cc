"""``/sites/{code}/air-forecast``: the forecast of a site's outdoor air."""

from datetime import UTC, datetime
from functools import partial
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError

from drumkeep.api.schemas.air_forecasts import (
    FORECAST_BODY,
    AirForecastIn,
    AirForecastOut,
    AirPointOut,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import DatabaseDep, Now, ReadingDep, require
from drumkeep.asgi.fields import Moment
from drumkeep.asgi.problems import Problem
from drumkeep.domain.air_forecasts import FRESH, TITLE, ForecastPoint, checked, from_csv
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import air_forecasts
from drumkeep.storage.tables.air import AirForecast
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/sites", tags=["sites"])

_CSV: Final = "text/csv"
_WRONG_KIND: Final = Problem(
    "media-type", f"The body is of the wrong kind. Send it as application/json or {_CSV}.", 415
)


class IssueQuery(BaseModel):
    """When it was issued, for a body that cannot say it; now if it is left out."""

    model_config = {"extra": "forbid"}

    issued_at: Moment | None = None


@router.get("/{code}/air-forecast")
def get_air_forecast(tx: ReadingDep, code: str) -> AirForecastOut:
    """Get the forecast of a site's outdoor air that was issued last."""
    return _out(air_forecasts.newest_forecast(tx, site=code), site=code)


@router.put("/{code}/air-forecast", response_model=AirForecastOut, openapi_extra=FORECAST_BODY)
async def put_air_forecast(  # noqa: PLR0917 - what a request consists of
    request: Request,
    code: str,
    database: DatabaseDep,
    query: Annotated[IssueQuery, Query()],
    now: Now,
    caller: Annotated[Caller, Depends(require(Action.SEND_FORECASTS))],
) -> AirForecastOut | Response:
    """Send a forecast of a site's outdoor air, hourly, as JSON or as CSV in °C or °F.

    Of several the one issued last is used, for 24 hours. The answer is that one.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    issued_at = query.issued_at or now
    if kind == _CSV:
        points = from_csv(_text(await request.body()))
    elif kind == "application/json":
        body = _body(await request.json())
        points = body.as_points()
        if "issued_at" in body.model_fields_set:
            issued_at = body.issued_at
    else:
        return _WRONG_KIND.response(request_id=request.state.request_id)
    put = partial(_put, code=code, points=points, issued_at=issued_at, by=caller.name, now=now)
    return await database.write(put)


def _put(
    tx: Tx,
    *,
    code: str,
    points: list[ForecastPoint],
    issued_at: datetime,
    by: str,
    now: datetime,
) -> AirForecastOut:
    forecast = checked(points, issued_at=issued_at, now=now)
    air_forecasts.put_forecast(tx, site=code, forecast=forecast, by=by, now=now)
    return _out(air_forecasts.newest_forecast(tx, site=code), site=code)


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Invalid(TITLE, [Fault("", None, f"is not UTF-8: {error}", "Send UTF-8.")]) from None


def _body(sent: object) -> AirForecastIn:
    try:
        return AirForecastIn.model_validate(sent)
    except ValidationError as error:
        found = [{**one, "loc": ("body", *one["loc"])} for one in error.errors()]
        raise RequestValidationError(found) from None


def _out(row: AirForecast, *, site: str) -> AirForecastOut:
    return AirForecastOut(
        site=site,
        issued_at=row.issued_at,
        received_at=row.received_at,
        by=row.by,
        fresh_until=row.issued_at + FRESH,
        points=[AirPointOut(at=datetime.fromtimestamp(s, tz=UTC), c=c) for s, c in row.points],
    )
