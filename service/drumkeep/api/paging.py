"""Lists in pages: ``limit`` and an opaque ``cursor``."""

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import Annotated, Final, Protocol, TypeVar

from fastapi import Query
from pydantic import BaseModel, ConfigDict, Field

from drumkeep.asgi.fields import PageOf
from drumkeep.errors import Fault, Invalid

LARGEST: Final = 200
_MARK: Final = "after:"


class _Identified(Protocol):
    id: int


_Row = TypeVar("_Row", bound=_Identified)
_Item = TypeVar("_Item")


class PageQuery(BaseModel):
    """What every list takes; a list with filters adds its own."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    limit: Annotated[int, Field(ge=1, le=LARGEST)] = 50
    cursor: Annotated[str, Field(max_length=200)] | None = None

    @property
    def after(self) -> int:
        """Id after which the page begins.

        Raises
        ------
        Invalid
            The cursor is none of ours.
        """
        return 0 if self.cursor is None else _decode(self.cursor)


PageDep = Annotated[PageQuery, Query()]


def cursor_after(row_id: int) -> str:
    """Return the cursor of the page that begins after a row."""
    return base64.urlsafe_b64encode(f"{_MARK}{row_id}".encode()).decode().rstrip("=")


def page_of(
    rows: Sequence[_Row], items: Callable[[Sequence[_Row]], list[_Item]], *, limit: int
) -> PageOf[_Item]:
    """Make a page of rows that were fetched with a limit of one more than the page shows.

    Parameters
    ----------
    rows
        Up to ``limit + 1`` of them; the last one only tells that there is more.
    items
        Turns the rows that are shown into what is answered.
    limit
        How many are shown.
    """
    shown = rows[:limit]
    more = len(rows) > limit
    return PageOf(items=items(shown), next_cursor=cursor_after(shown[-1].id) if more else None)


def _decode(cursor: str) -> int:
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        text = base64.b64decode(padded, altchars=b"-_", validate=True).decode("ascii")
    except (binascii.Error, ValueError):
        text = ""
    digits = text.removeprefix(_MARK)
    if text == digits or not digits.isdecimal() or len(digits) > 18:  # noqa: PLR2004 - 64 bits
        raise Invalid(
            "The page is not known.",
            [
                Fault(
                    "cursor",
                    cursor,
                    "is no cursor of this list",
                    "Use the next_cursor of the page before, unchanged.",
                )
            ],
        )
    return int(digits)
