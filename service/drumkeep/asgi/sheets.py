"""A person's spreadsheet, its events read by the shapes in which programs send them."""

from collections.abc import Mapping
from functools import partial
from typing import Any, Final

from fastapi.exceptions import RequestValidationError

from drumkeep.asgi.faults import validation_faults
from drumkeep.asgi.happenings import event_of, happening_of
from drumkeep.errors import Invalid
from drumkeep.operations.drums import Happening
from drumkeep.operations.sheet_import import import_sheet
from drumkeep.operations.sheet_reader import TITLE
from drumkeep.storage.transaction import Tx

MOST_ROWS: Final = 2000
"""Of a file that comes with a request: at 10 ms a row, while nobody else can record anything."""


def _sent(tx: Tx, body: Mapping[str, Any]) -> Happening:
    try:
        return happening_of(tx, event_of(body))
    except RequestValidationError as error:
        raise Invalid(TITLE, validation_faults(error)) from None


bring_in_sheet: Final = partial(import_sheet, sent=_sent)
