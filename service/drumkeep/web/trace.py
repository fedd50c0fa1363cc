"""Where a lot went, and what was at a job site or on a rig: to be read, printed and taken along."""

from datetime import UTC, datetime
from typing import Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.asgi.tables import csv_answer
from drumkeep.asgi.traces import trace_rows
from drumkeep.errors import DrumkeepError, Fault, Invalid
from drumkeep.operations.drums import drum_tagged
from drumkeep.operations.ground import Premises, read_premises
from drumkeep.operations.places import place_named
from drumkeep.operations.trace import Trace, trace_drums, trace_lot, trace_place
from drumkeep.storage import catalogue
from drumkeep.storage import traces as rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.forms import when
from drumkeep.web.shell import Shell, ShellDep
from drumkeep.web.views.places import place_choices
from drumkeep.web.views.trace import trace_view

router = APIRouter()

Word = Annotated[str, Field(max_length=200)]

_LABELS: Final = {
    "lot": "Lot",
    "product": "Lot",
    "tag": "Drum",
    "place": "Place",
    "start": "From",
    "end": "Until",
}


class TraceQuery(BaseModel):
    """A lot (with its product where several have one of that code), a drum, or a place and time."""

    lot: Word = ""
    product: Word = ""
    tag: Word = ""
    place: Word = ""
    start: Word | None = None
    end: Word = ""

    @property
    def asked(self) -> bool:
        """Whether anything was asked yet; a place alone fills in the form."""
        return bool(self.lot.strip() or self.tag.strip() or (self.place and self.start is not None))


@router.get("/trace")
def trace_page(
    tx: ReadingDep, shell: ShellDep, query: Annotated[TraceQuery, Query()]
) -> HTMLResponse:
    """Ask what to trace, and show it."""
    premises = read_premises(tx)
    found, title = None, ""
    faults: tuple[Fault, ...] = ()
    choices: list[tuple[str, str]] = []
    formats = shell.formats
    try:
        if query.asked:
            choices = _products(tx, query)
            if not choices:
                found, title, formats = _trace(tx, shell, query, premises)
    except DrumkeepError as error:
        faults = error.faults or (Fault("", None, error.title, ""),)
    answer = shell.answer(
        "trace.html",
        tx=tx,
        page="trace",
        formats=formats,
        query=query,
        title=title,
        trace=None if found is None else trace_view(found, premises=premises, formats=formats),
        choices=choices,
        faults=[(_LABELS.get(fault.field, fault.field), fault) for fault in faults],
        places=place_choices(premises),
    )
    answer.status_code = 422 if faults else 200
    return answer


@router.get("/trace.csv")
def trace_file(tx: ReadingDep, shell: ShellDep, query: Annotated[TraceQuery, Query()]) -> Response:
    """Answer the same as a table, in the person's units."""
    found, title, _ = _trace(tx, shell, query, read_premises(tx))
    return csv_answer(trace_rows(found, us=shell.caller.units == "us"), name=f"trace {title}")


def _products(tx: Tx, query: TraceQuery) -> list[tuple[str, str]]:
    """Return the products among which to choose, where several have a lot of this code."""
    if query.product or not query.lot.strip():
        return []
    called = rows.lots_called(tx, code=query.lot.strip())
    several = len(called) > 1
    return [(product.code, product.name) for _, product in called] if several else []


def _trace(
    tx: Tx, shell: Shell, query: TraceQuery, premises: Premises
) -> tuple[Trace, str, Formats]:
    """Return what was asked, what it is called, and times as they are written there."""
    if query.tag.strip():
        drum = drum_tagged(tx, tag=query.tag)
        found = trace_drums(tx, drum_ids=[drum.id], now=shell.now)
        return found, shell.formats.words("drum {tag}", tag=drum.tag), _formats(shell, found)
    if query.lot.strip():
        lot = query.lot.strip()
        called = rows.lots_called(tx, code=lot)
        product = query.product or (called[0][1].code if called else "")
        if not product:
            mend = "Write it as it stands on the drums; upper and lower case count."
            fault = Fault("lot", lot, "is of no drum here", mend)
            raise Invalid("There is no such lot.", [fault])
        found = trace_lot(tx, product=product, lot=lot, now=shell.now)
        return found, shell.formats.words("lot {lot}", lot=lot), _formats(shell, found)
    place = place_named(tx, reference=query.place)
    site = catalogue.sites_by_id(tx, ids=[place.site_id])[place.site_id]
    start, end = (_moment(query, name, zone=site.timezone) for name in ("start", "end"))
    if start is None:
        fault = Fault("start", None, "is missing", "Give the day and the time.")
        raise Invalid("Say from when on.", [fault])
    found = trace_place(tx, place_id=place.id, start=start, end=end or shell.now, now=shell.now)
    return found, premises.places[place.id].name, shell.formats.at(site.timezone)


def _formats(shell: Shell, trace: Trace) -> Formats:
    """Return times as they are written where the first drum stands."""
    if not trace.drums:
        return shell.formats
    return shell.formats.at(trace.drums[0].row.site.timezone)


def _moment(query: TraceQuery, name: str, *, zone: str) -> datetime | None:
    text = when({name: getattr(query, name) or ""}, name, zone=zone, now=None)
    return None if text is None else datetime.fromisoformat(text).astimezone(UTC)
