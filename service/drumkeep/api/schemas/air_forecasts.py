"""A forecast of a site's outdoor air as sent and answered."""

from typing import Annotated, Any, Final

from pydantic import Field

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Moment, MomentOut, Number
from drumkeep.domain.air_forecasts import HIGHEST_C, LOWEST_C, MOST_POINTS, ForecastPoint


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

_MOMENT: Final = {"type": "string", "format": "date-time"}
_POINT: Final = {
    "type": "object",
    "required": ["at", "c"],
    "additionalProperties": False,
    "properties": {
        "at": _MOMENT,
        "c": {"type": "number", "minimum": LOWEST_C, "maximum": HIGHEST_C},
    },
}
_FORECAST: Final = {
    "title": "Forecast of the outdoor air",
    "type": "object",
    "required": ["points"],
    "additionalProperties": False,
    "properties": {
        "issued_at": _MOMENT,
        "points": {"type": "array", "minItems": 2, "maxItems": MOST_POINTS, "items": _POINT},
    },
}

FORECAST_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {"schema": _FORECAST},
            "text/csv": {"schema": {"type": "string"}, "example": _CSV_EXAMPLE},
        },
    }
}
