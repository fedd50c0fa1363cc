"""A person's spreadsheet, its events read by the shapes in which programs send them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from fastapi.exceptions import RequestValidationError

from drumkeep.asgi.faults import validation_faults
from drumkeep.asgi.happenings import event_of, happening_of
from drumkeep.errors import Invalid
from drumkeep.operations.drums import By, Happening
from drumkeep.operations.sheet_import import SheetReport, import_sheet
from drumkeep.storage.transaction import Tx

MOST_ROWS: Final = 2000
"""Of a file that comes with a request: at 10 ms a row, while nobody else can record anything."""


def bring_in_sheet(
    tx: Tx,
    *,
    noun: str,
    content: bytes,
    by: By,
    now: datetime,
    most: int | None = None,
    check: bool = False,
    take_good: bool = False,
    day_first: bool | None = None,
) -> SheetReport:
    """Do what :func:`drumkeep.operations.sheet_import.import_sheet` does."""
    return import_sheet(
        tx,
        noun=noun,
        content=content,
        by=by,
        now=now,
        sent=_sent,
        most=most,
        check=check,
        take_good=take_good,
        day_first=day_first,
    )


def _sent(tx: Tx, body: Mapping[str, Any]) -> Happening:
    try:
        return happening_of(tx, event_of(body))
    except RequestValidationError as error:
        raise Invalid("The row cannot be used.", validation_faults(error)) from None
