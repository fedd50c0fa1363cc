"""A drum's page, and the forms on it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final
from uuid import UUID

from fastapi import APIRouter, Depends, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.happenings import by_caller, event_of, happening_of
from drumkeep.domain.drums import DrumFacts, fold
from drumkeep.domain.event_checks import OFFERED, Standing, makes_sense, refusal, to_confirm
from drumkeep.domain.events import EventKind, effective
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product, Side
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations import drums, history
from drumkeep.operations.event_data import places_named
from drumkeep.operations.ground import read_offered
from drumkeep.operations.ratio import open_one, other_side_beside
from drumkeep.operations.undo import undo_event, undoable
from drumkeep.storage import drums as rows
from drumkeep.storage import measurements
from drumkeep.storage.drums import StockRow
from drumkeep.storage.estimates import cold_lots
from drumkeep.storage.ground import names_of
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx
from drumkeep.web.form_faults import in_words_of_form
from drumkeep.web.formats import Formats
from drumkeep.web.forms import event_body, form_id, waited
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.view_models import DrumView, HistoryRow
from drumkeep.web.views.content import content_facts
from drumkeep.web.views.drums import drum_view
from drumkeep.web.views.events import Given, action_views, event_views
from drumkeep.web.views.labels import print_views
from drumkeep.web.views.papers import papers_view
from drumkeep.web.views.places import named_places, place_choices
from drumkeep.web.views.pressure import pressure_view
from drumkeep.web.views.straps import strap_views

router = APIRouter()

PAST: Final = timedelta(days=5)
AHEAD_HOURS: Final = 48
LONGEST_PAST: Final = timedelta(days=366)
_JUST_NOW: Final = timedelta(minutes=5)
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
    log = rows.event_rows(tx, drum_id=drum.id)
    product = as_product(row.product)
    events = [rows.as_event(event) for event in log]
    facts = fold(effective(events), product=product)
    view = drum_view(row, formats=formats, product=product)
    by = by_caller(shell.caller)
    return shell.answer(
        "drum.html",
        tx=tx,
        page="drum",
        formats=formats,
        drum=replace(
            view,
            weighed_to_kg=facts.weighed_to_kg,
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
            places=names_of(tx, ids=places_named(log)),
            formats=formats,
            met=measurements.by_events(tx, event_ids=[event.id for event in log]),
            undoable=undoable(events, by=by, now=shell.now),
        ),
        straps=strap_views(tx, drum=drum, formats=formats),
        prints=print_views(tx, drum_id=drum.id),
        papers=papers_view(tx, drum=drum, log=events, role=shell.caller.role, now=shell.now),
        actions=action_views(
            standing_of(row, view, facts),
            role=shell.caller.role,
            given=_given(tx, row, facts, log=log, formats=formats),
        ),
        history=_history(tx, row, product=product, shell=shell, ahead=chosen, since=since),
        ahead=chosen,
        past=told,
        by_hours=shell.now - since > history.SINGLY,
    )


def standing_of(row: StockRow, view: DrumView, facts: DrumFacts) -> Standing:
    """Return a drum as it stands, for what may be done with it now."""
    return Standing(
        facts=facts,
        side=Side(row.product.side),
        conditions=view.conditions,
        place_kind=PlaceKind(row.place.kind),
        dew_margin_k=None if row.estimate is None else row.estimate.dew_margin_k,
        too_hot=view.too_hot,
    )


def _given(
    tx: Tx,
    row: StockRow,
    facts: DrumFacts,
    *,
    log: Sequence[Event],
    formats: Formats,
) -> dict[EventKind, Given]:
    """Return what forms of a drum hold already and offer."""
    reads_to = next(
        (e.data["resolution_kg"] for e in reversed(log) if e.data.get("resolution_kg")), None
    )
    scale = "" if reads_to is None else formats.fine_mass(reads_to).split()[0]
    tare = formats.mass(row.drum.tare_kg)
    given = {
        EventKind.MOVED: Given(
            choices=place_choices(read_offered(tx, at=row.place.id), but=row.place.id),
            chosen=f"{row.site.code}/{row.place.code}",
        ),
        EventKind.WEIGHED: Given(
            chosen=scale, hint=f"Of drum and liquid its steel, {tare}, is taken off."
        ),
    }
    if facts.open or row.place.kind == PlaceKind.RIG:
        beside = other_side_beside(tx, drum=row.drum)
        other = open_one(tx, beside=beside)
        given[EventKind.RATIO_OFF] = Given(
            choices=[
                (
                    one.drum.tag,
                    formats.words("{tag}, lot {lot}", tag=one.drum.tag, lot=one.lot.code),
                )
                for one in beside
            ],
            chosen="" if other is None else other.tag,
        )
    return given


def past_start(drum: Drum, *, past: str, now: datetime) -> datetime:
    """Return from when on a drum's past is shown: the last days, or all since it came."""
    if past != "all":
        return now - PAST
    return min(max(drum.received_at, now - LONGEST_PAST), now - PAST)


def _history(
    tx: Tx, row: StockRow, *, product: Product, shell: Shell, ahead: str, since: datetime
) -> tuple[HistoryRow, ...]:
    """Return the curves as a table: every two hours, of a long past further apart; and ahead."""
    course = history.course_of(
        tx,
        drum=row.drum,
        product=product,
        start=since,
        end=shell.now,
        hours=AHEAD_HOURS,
        in_warm_room=ahead == "warm_room",
    )
    past = course.past.points
    every = max(_EVERY, -(-len(past) // _MOST_ROWS))
    shown = [(point, False) for point in past[::-1][::every][::-1]]
    shown += [(point, True) for point in course.ahead[_EVERY::_EVERY]]
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
    formats = replace(shell.formats, units="us" if us else "si")
    try:
        body = event_body(form, us=us, zone=row.site.timezone, now=_happened(tx, form, shell.now))
        event = event_of(body)
        _check_now(tx, row, form, now=shell.now)
        drums.record_event(
            tx,
            tag=drum.tag,
            happening=happening_of(tx, event),
            by=by_caller(shell.caller),
            now=shell.now,
        )
    except (Conflict, Invalid, RequestValidationError) as error:
        local = formats.at(row.site.timezone)
        told = in_words_of_form(error, form, formats=local)
        told.faults = tuple(named_places(tx, told.faults))
        raise told from error
    return see(f"/drums/{drum.tag}")


@router.post("/drums/{tag}/undo")
def undo(
    tx: TransactionDep,
    shell: ShellDep,
    tag: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Take back what was recorded a moment ago."""
    refuse_unless_may(shell.caller, Action.CORRECT_OWN)
    drum = undo_event(
        tx,
        tag=tag,
        event_id=form_id(form, "event"),
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/drums/{drum.tag}#events-h")


def _check_now(tx: Tx, row: StockRow, form: Mapping[str, str], *, now: datetime) -> None:
    """Refuse what must not be done to the drum now; what was done a while ago is recorded.

    Raises
    ------
    Conflict
        Something stands against it, or what has to be ticked before is not.
    """
    kind = next((k for k in OFFERED if k.value == form.get("kind")), None)
    late = waited(form) > _JUST_NOW
    if kind is None or form.get("at", "").strip() or late or _is_known(tx, form):
        return
    facts = drums.facts_of(tx, drum=row.drum)
    local = Formats(units="us", timezone=UTC, now=now)
    drum = standing_of(row, drum_view(row, formats=local, worded=False), facts)
    if facts.ended is None and not makes_sense(kind, drum):
        done = drums.done_already(tx, drum=row.drum, kind=kind)
        if done is not None:
            raise done
    stands = refusal(kind, drum)
    if stands is not None and facts.ended is None:
        mend = "Do not do it. If it was done already, say when, and tell the manager."
        problem = f"must not be done now. {stands.rstrip('.')}"
        raise Conflict("Not now.", [Fault("kind", kind.value, problem, mend)])
    sure = to_confirm(kind, drum)
    if sure is not None and form.get("sure") != "yes":
        problem = f"is not ticked: {sure.rstrip('.')}"
        mend = "Tick that box if it is so, and record it again."
        raise Conflict("Not before you are sure.", [Fault("sure", None, problem, mend)])


def _is_known(tx: Tx, form: Mapping[str, str]) -> bool:
    try:
        return rows.event_by_id(tx, event_id=UUID(form.get("id", ""))) is not None
    except ValueError:
        return False  # told with whatever else is wrong


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
    return now - waited(form)
