"""What becomes of a spreadsheet."""

from typing import Any, Final

from pydantic import BaseModel

from drumkeep.asgi.fields import Answer
from drumkeep.operations.sheet_reader import Fate


class SheetQuery(BaseModel):
    """How a file is taken.

    With ``check`` nothing is stored. With ``take_good`` rows that can be used are stored though
    others are refused; else it is all or nothing. ``day_first`` says whether 3/4/2026 is the 3rd of
    April; left out, a date that reads both ways is refused.
    """

    model_config = {"extra": "forbid"}

    check: bool = False
    take_good: bool = False
    day_first: bool | None = None


class RowFaultOut(Answer):
    """What is wrong in a row; ``field`` is the file's own column where it has one."""

    field: str
    value: Any
    problem: str
    mend: str


class RowFateOut(Answer):
    """What became of a row, counted from 1, and of which thing.

    ``read`` is how its dates, masses (kg) and temperatures (°C) were read, by our name of a column.
    """

    row: int
    fate: Fate
    thing: str | None
    read: dict[str, str]
    faults: list[RowFaultOut]


class SheetOut(Answer):
    """What became of a file, or would; ``stored`` says which.

    ``totals`` are rows that only add others up and were passed over.
    """

    stored: bool
    rows: list[RowFateOut]
    totals: list[int]
    unused_columns: list[str]


SHEET_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "text/csv": {
                "schema": {"type": "string"},
                "example": "Product;Lot;Made on\niso;2231;2026-01-09\n",
            }
        },
    }
}
"""Documents a body that FastAPI does not read."""
