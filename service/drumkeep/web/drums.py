"""A drum's page, and the forms on it."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final
from uuid import UUID

from fastapi import APIRouter, Depends, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.happenings import by_caller, event_of, happening_of
from drumkeep.domain.conditions import Condition
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations import drums, history
from drumkeep.operations.surroundings import read_ground
from drumkeep.storage import drums as rows
from drumkeep.storage import measurements
from drumkeep.storage.drums import StockRow
from drumkeep.storage.estimates import cold_lots
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.web.form_faults import in_words_of_form
from drumkeep.web.formats import Formats
from drumkeep.web.forms import event_body, number_of
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.view_models import HistoryRow
from drumkeep.web.views.content import content_facts
from drumkeep.web.views.drums import drum_view
from drumkeep.web.views.events import action_views, event_views
from drumkeep.web.views.labels import print_views
from drumkeep.web.views.papers import papers_view
from drumkeep.web.views.pressure import pressure_view
from drumkeep.web.views.straps import strap_views

router = APIRouter()

PAST: Final = timedelta(days=5)
AHEAD_HOURS: Final = 48
LONGEST_PAST: Final = timedelta(days=366)
_EVERY: Final = 4
_MOST_ROWS: Final = 240
"""Of the past in the table that stands for the chart."""


@router.get("/drums/{tag}")
def drum_page(
    tx: ReadingDep, shell: ShellDep, tag: str, ahead: str = "here", past: str = "days"
) -> HTMLResponse:
    """Show a drum: the answer first, then how it went, what is known, and what may be done."""
    drum = drums.drum_tagged(tx, tag=tag)
    row = rows.list_drums(tx, tag=drum.tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    chosen = "warm_room" if ahead == "warm_room" else "here"
    told = "all" if past == "all" else "days"
    since = past_start(drum, past=told, now=shell.now)
    ground = read_ground(tx)
    log = rows.event_rows(tx, drum_id=drum.id)
    product = as_product(row.product)
    names = {place.id: place.name for place in ground.places.values()}
    conditions = row.estimate.conditions if row.estimate is not None else []
    actions = action_views(
        drums.facts_of(tx, drum=drum),
        overpressure=Condition.OVERPRESSURE.value in conditions,
        agent_loss=Condition.AGENT_LOSS_SUSPECTED.value in conditions,
        role=shell.caller.role,
        choices=[
            (
                f"{ground.sites[p.site_id].code}/{p.code}",
                f"{p.name}, {ground.sites[p.site_id].name}",
            )
            for p in ground.places.values()
            if p.id != drum.place_id
        ],
    )
    return shell.answer(
        "drum.html",
        tx=tx,
        page="drum",
        formats=formats,
        drum=replace(
            drum_view(row, formats=formats, product=product),
            pressure=pressure_view(row, product=product, formats=formats),
            content=content_facts(
                row,
                product=product,
                lot_mark=cold_lots(tx, lot_ids=[drum.lot_id]).get(drum.lot_id),
                formats=formats,
            ),
        ),
        events=event_views(
            log,
            places=names,
            formats=formats,
            met=measurements.by_events(tx, event_ids=[event.id for event in log]),
        ),
        straps=strap_views(tx, drum=drum, formats=formats),
        prints=print_views(tx, drum_id=drum.id),
        papers=papers_view(tx, drum=drum, role=shell.caller.role),
        actions=actions,
        history=_history(tx, row, shell=shell, ahead=chosen, since=since),
        ahead=chosen,
        past=told,
        by_hours=shell.now - since > history.SINGLY,
    )


def past_start(drum: Drum, *, past: str, now: datetime) -> datetime:
    """Return from when on a drum's past is shown: the last days, or all since it came."""
    if past != "all":
        return now - PAST
    return min(max(drum.received_at, now - LONGEST_PAST), now - PAST)


def _history(
    tx: Tx, row: StockRow, *, shell: Shell, ahead: str, since: datetime
) -> tuple[HistoryRow, ...]:
    """Return the curves as a table: every two hours, of a long past further apart; and ahead."""
    past = history.past_of(tx, drum=row.drum, start=since, end=shell.now).points
    every = max(_EVERY, -(-len(past) // _MOST_ROWS))
    place = history.warm_room_for(tx, drum=row.drum) if ahead == "warm_room" else None
    coming = history.ahead_of(tx, drum=row.drum, hours=AHEAD_HOURS, place_id=place)
    shown = [(point, False) for point in past[::-1][::every][::-1]]
    shown += [(point, True) for point in coming[_EVERY::_EVERY]]
    return tuple(
        HistoryRow(
            at=point.at,
            air_c=point.air_c,
            bottom_c=point.bottom_c,
            mean_c=point.mean_c,
            top_c=point.top_c,
            low_c=point.low_c,
            high_c=point.high_c,
            ahead=is_ahead,
        )
        for point, is_ahead in shown
    )


async def posted(request: Request) -> dict[str, str]:
    """Return the fields of a form; files are not taken."""
    return {n: v for n, v in (await request.form()).items() if isinstance(v, str)}


@router.post("/drums/{tag}/events")
def record(
    tx: TransactionDep,
    shell: ShellDep,
    tag: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Record what a form of the drum page says, and show the drum as it is with it."""
    refuse_unless_may(shell.caller, Action.RECORD)
    drum = drums.drum_tagged(tx, tag=tag)
    row = rows.list_drums(tx, tag=drum.tag, present=False)[0]
    # The units that the form was shown in: the person may have switched since, on another page.
    us = form.get("units", shell.caller.units) == "us"
    formats = Formats(units="us" if us else "si", timezone=UTC, now=shell.now)
    try:
        body = event_body(form, us=us, zone=row.site.timezone, now=_happened(tx, form, shell.now))
        drums.record_event(
            tx,
            tag=drum.tag,
            happening=happening_of(tx, event_of(body)),
            by=by_caller(shell.caller),
            now=shell.now,
        )
    except (Conflict, Invalid, RequestValidationError) as error:
        local = formats.at(row.site.timezone)
        raise in_words_of_form(error, form, formats=local) from error
    return see(f"/drums/{drum.tag}")


def _happened(tx: Tx, form: Mapping[str, str], now: datetime) -> datetime:
    """Return when what a form without a time tells of happened: sent twice it is one event.

    A phone that had no connection says how long ago it was filled in: its clock may be wrong.
    """
    try:
        known = rows.event_by_id(tx, event_id=UUID(form.get("id", "")))
    except ValueError:
        return now  # no UUID, which is told with whatever else is wrong
    if known is not None:
        return known.at
    return now - timedelta(seconds=number_of(form, "ago_s")) if form.get("ago_s") else now
