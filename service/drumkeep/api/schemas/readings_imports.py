"""What becomes of a logger's download."""

from typing import Annotated, Any, Final

from pydantic import BaseModel, Field

from drumkeep.asgi.fields import Answer, MomentOut


class ImportQuery(BaseModel):
    """What is said of the file; columns by header, part of it, or number from 1.

    ``sensor`` is ``COLUMN=NAME``, ``unit`` is ``COLUMN=UNIT`` or a unit for all that say none.
    ``zone`` is of times that say none, the site's if left out. With ``check`` nothing is stored.
    """

    model_config = {"extra": "forbid"}

    check: bool = False
    name: Annotated[str, Field(max_length=120)] = "upload"
    sensor: list[str] = []
    unit: list[str] = []
    time: str | None = None
    day_first: bool | None = None
    zone: str | None = None
    site: str | None = None
    gateway: str | None = None


class SensorShareOut(Answer):
    """What the file holds of one sensor, in the unit of its quantity."""

    name: str
    column: str
    quantity: str
    readings: int
    first_at: MomentOut
    last_at: MomentOut
    low: float
    high: float


class RefusedExampleOut(Answer):
    """One refused cell; lines are counted from 1."""

    line: int
    column: str
    value: Any


class RefusedKindOut(Answer):
    """All that was refused for one reason, with the first few."""

    problem: str
    mend: str
    count: int
    examples: list[RefusedExampleOut]


class ImportOut(Answer):
    """What became of a file, or would where it was only checked."""

    checked_only: bool
    stored: int
    duplicates: int
    doubled: int
    empty: int
    refused: list[RefusedKindOut]
    sensors: list[SensorShareOut]
    unused_columns: list[str]
    notes: list[str]


IMPORT_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {
                "schema": {"type": "string"},
                "example": "Date Time;Dock (°F)\n11/24/2025 2:05 PM;61,5\n",
            }
        },
    }
}
"""Documents a body that FastAPI does not read."""
