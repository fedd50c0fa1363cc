"""Types of fields: strict, finite, and told apart from what merely looks like them."""

import re
from datetime import UTC, date, datetime
from typing import Annotated, Any, Final, Generic, TypeVar

from fastapi import Path
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    Strict,
)
from pydantic_core import PydanticCustomError

from drumkeep.asgi.faults import OWN, ZONE_MEND

_T = TypeVar("_T")

# RFC 3339 section 5.6; the parser behind would also take numbers, and days without a time.
_MOMENT: Final = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?(?P<zone>[Zz]|[+-]\d\d:\d\d)?"
)
_DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")
_YEARS: Final = range(2000, 2101)


LEFT_OUT: Final[Any] = Field(default_factory=lambda: None)
"""Default of what may be left out but not be null; :meth:`Body.changes` leaves it out too."""


class Body(BaseModel):
    """What is sent: nothing unknown, nothing converted, nothing infinite."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)

    def changes(self) -> Any:  # noqa: ANN401 - fits the TypedDict of what may change
        """Return what was sent by name, without what was left out."""
        return {name: getattr(self, name) for name in self.model_fields_set}


class Answer(BaseModel):
    """What is answered."""

    model_config = ConfigDict(frozen=True)


class PageOf(Answer, Generic[_T]):
    """One page of a list; ``next_cursor`` is null on the last."""

    items: list[_T]
    next_cursor: str | None = None


def refusal(problem: str, mend: str) -> PydanticCustomError:
    """Return what a type of field raises to refuse a value in words of ours."""
    return PydanticCustomError(OWN, "{problem}. {mend}", {"problem": problem, "mend": mend})


def _moment(value: object) -> object:
    found = _MOMENT.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise refusal("is not a time", ZONE_MEND)
    if found["zone"] is None:
        raise refusal("has no time zone", ZONE_MEND)
    if int(found.string[:4]) not in _YEARS:
        raise refusal("is out of range", "Give a time from 2000 to 2100.")
    return value


def _day(value: object) -> object:
    if not isinstance(value, str) or not _DAY.fullmatch(value):
        raise refusal("is not a date", "Write it as 2026-01-31.")
    if int(value[:4]) not in _YEARS:
        raise refusal("is out of range", "Give a day from 2000 to 2100.")
    return value


def _to_utc(value: datetime) -> datetime:
    return value.astimezone(UTC)


def _to_rfc_3339(value: datetime) -> str:
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


Line = Annotated[str, Field(min_length=1, max_length=200)]
"""One line of text; operations say how long each may be."""

Note = Annotated[str, Field(max_length=2000)]

Number = Annotated[float, Field(ge=-1e9, le=1e9)]
"""A finite number; operations say the range that makes sense."""

Whole = Annotated[int, Field(ge=0, le=2**31 - 1)]

RowId = Annotated[int, Path(ge=0, le=2**63 - 1)]
"""A number in an address; beyond what a database counts there is nothing, as at any other."""

Moment = Annotated[
    datetime,
    Strict(strict=False),
    BeforeValidator(_moment),
    AfterValidator(_to_utc),
    PlainSerializer(_to_rfc_3339, return_type=str, when_used="json"),
]
"""A time with its zone, in UTC from here on."""

MomentOut = Annotated[datetime, PlainSerializer(_to_rfc_3339, return_type=str, when_used="json")]

Day = Annotated[date, Strict(strict=False), BeforeValidator(_day)]
