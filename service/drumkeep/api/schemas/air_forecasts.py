"""A forecast of a site's outdoor air as sent and answered."""

from typing import Annotated, Any, Final

from pydantic import Field

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Moment, MomentOut, Number
from drumkeep.domain.air_forecasts import MOST_POINTS, ForecastPoint


class AirPointIn(Body):
    """Outdoor air at a time, °C."""

    at: Moment
    c: Number


class AirForecastIn(Body):
    """A forecast: points in order of time, at most three hours apart."""

    issued_at: Moment = LEFT_OUT
    points: Annotated[list[AirPointIn], Field(min_length=2, max_length=MOST_POINTS)]

    def as_points(self) -> list[ForecastPoint]:
        """Return the points, each with its place in the body."""
        return [
            ForecastPoint(at=point.at, c=point.c, name=f"points.{number}")
            for number, point in enumerate(self.points)
        ]


class AirPointOut(Answer):
    """Outdoor air at a time, °C."""

    at: MomentOut
    c: float


class AirForecastOut(Answer):
    """The forecast of a site that was issued last; it is used up to ``fresh_until``."""

    site: str
    issued_at: MomentOut
    received_at: MomentOut
    by: str
    fresh_until: MomentOut
    points: list[AirPointOut]


_CSV_EXAMPLE: Final = "time,temperature_f\n2026-01-31T06:00:00-06:00,19.4\n"

FORECAST_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": AirForecastIn.model_json_schema(ref_template="#/$defs/{model}")
            },
            "text/csv": {"schema": {"type": "string"}, "example": _CSV_EXAMPLE},
        },
    }
}
