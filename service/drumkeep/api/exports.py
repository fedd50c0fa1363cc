"""``/exports/{what}.csv``: what is on record, for a spreadsheet; ``/exports/all``: all of it."""

from datetime import date, datetime, time, timedelta
from typing import Annotated, Any, Final, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Query
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import DatabaseDep, Now, require
from drumkeep.asgi.exports import archive_answer, export_answer
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.exports import Asked
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/exports", tags=["exports"])

_CSV: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"text/csv": {}}}}
_LINES: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"application/jsonl": {}}}}
_MOST_DAYS: Final = 366

Day = Annotated[date | None, BeforeValidator(lambda sent: sent or None)]
"""A day; a form that says none sends an empty text."""


class ExportQuery(BaseModel):
    """Which part: of one site, from the day ``start`` to the day ``end``, both belonging to it.

    Days are by the site's clock, else by UTC. Drums, events, places and readings have a site;
    events and readings have days, and readings need them.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    site: Annotated[str, Field(max_length=200)] = ""
    start: Day = None
    end: Day = None


@router.get("/{what}.csv", response_class=StreamingResponse, responses=_CSV)
async def export_file(
    what: Literal["products", "lots", "drums", "events", "places", "sensors", "readings"],
    query: Annotated[ExportQuery, Query()],
    database: DatabaseDep,
    _caller: Annotated[Caller, Depends(require(Action.READ))],
) -> StreamingResponse:
    """Give it as CSV in the columns that an import takes; of readings at most a year at a time."""
    if what == "readings":
        _check_span(query)
    asked = await database.read(lambda tx: _asked(tx, query))
    return await export_answer(database, noun=what, asked=asked)


@router.get("/all", response_class=StreamingResponse, responses=_LINES)
async def export_all(
    database: DatabaseDep, now: Now, _caller: Annotated[Caller, Depends(require(Action.TAKE_ALL))]
) -> StreamingResponse:
    """Give all that is stored, of one moment and without secrets, for `drumkeep import all`."""
    return await archive_answer(database, now=now)


def _check_span(query: ExportQuery) -> None:
    missing = [name for name in ("start", "end") if getattr(query, name) is None]
    if query.start is not None and query.end is not None:
        if timedelta(0) <= query.end - query.start < timedelta(days=_MOST_DAYS):
            return
        problem = f"is not within {_MOST_DAYS} days after the start"
        fault = Fault("end", query.end.isoformat(), problem, "Ask for a year at a time.")
        raise Invalid("That span cannot be exported.", [fault])
    mend = "Give the first and the last day, like 2026-03-04."
    raise Invalid("Say which days.", [Fault(name, None, "is missing", mend) for name in missing])


def _asked(tx: Tx, query: ExportQuery) -> Asked:
    site = catalogue.site_by_code(tx, code=query.site) if query.site else None
    zone = ZoneInfo("UTC" if site is None else site.timezone)
    end = None if query.end is None else query.end + timedelta(days=1)
    start, end_at = (
        None if day is None else datetime.combine(day, time(), zone) for day in (query.start, end)
    )
    return Asked(query.site or None, start, end_at)
