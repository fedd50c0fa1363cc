"""Moving many drums in one go: scan one after another, scan where they go, press once."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Annotated, Final
from urllib.parse import urlencode
from uuid import UUID, uuid4

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain import scans, tags
from drumkeep.domain.event_checks import refusal
from drumkeep.domain.events import EventKind
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid, heard
from drumkeep.operations.drum_facts import facts_of_all
from drumkeep.operations.ground import read_premises
from drumkeep.operations.moves import (
    MOST_AT_ONCE,
    Carried,
    Move,
    move_drums,
    moved,
    undo_move,
)
from drumkeep.operations.places import place_named
from drumkeep.operations.undo import undoable
from drumkeep.storage import catalogue
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import standing_of
from drumkeep.web.form_faults import in_words_of_form
from drumkeep.web.forms import form_id, waited, when
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.drums import drum_view
from drumkeep.web.views.moves import (
    CarriedView,
    carried_views,
    destinations,
    moved_view,
)
from drumkeep.web.views.places import named_places, places_by_reference

router = APIRouter()

_MOST_LISTED: Final = 60
_LOOK_AGAIN: Final = "Look at its label again; a drum that is not received yet cannot be moved."
Word = Annotated[str, Query(max_length=scans.LONGEST)]
Tags = Annotated[list[str], Query(default_factory=list, max_length=MOST_AT_ONCE)]


@dataclass(frozen=True)
class Plan:
    """The form of a move so far: tags in the order of scanning, places as ``site/code``.

    ``seen`` is where each drum was shown to stand; ``place`` the one whose drums are listed to be
    ticked; ``at`` and ``note`` as typed.
    """

    drums: tuple[str, ...] = ()
    seen: dict[str, str] = field(default_factory=dict)
    to: str = ""
    place: str = ""
    at: str = ""
    note: str = ""
    id: str = field(default_factory=lambda: str(uuid4()))

    @property
    def address(self) -> str:
        """Where this form is shown again."""
        asked = [("drum", tag) for tag in self.drums]
        asked += [(name, getattr(self, name)) for name in ("to", "place") if getattr(self, name)]
        return f"/move?{urlencode(asked)}" if asked else "/move"


@router.get("/move")
def move_page(
    tx: ReadingDep,
    shell: ShellDep,
    drum: Tags,
    to: Word = "",
    place: Word = "",
) -> HTMLResponse:
    """Show the drums that were picked so far, and where they may go."""
    faults: list[Fault] = []
    picked = []
    for text in drum:
        with heard(faults):
            picked.append(tags.parse(text, field="drum"))
    plan = Plan(drums=tuple(dict.fromkeys(picked)), to=to, place=place)
    return _page(tx, shell, plan, faults=faults)


@router.post("/move")
async def move(request: Request, shell: ShellDep) -> Response:
    """Put what was scanned on the list, or move what is on it; what cannot be is told there."""
    refuse_unless_may(shell.caller, Action.RECORD)
    form = await request.form()
    plan = _plan(form)
    database = services(request).database
    try:
        if form.get("do") == "move":
            await database.write(lambda tx: _move(tx, shell, plan, form))
            return see(f"/moves/{plan.id}?{urlencode([('drum', tag) for tag in plan.drums])}")
        scanned = _text(form, "scan").strip()
        if scanned:
            plan = await database.read(lambda tx: _with_scan(tx, plan, scanned))
        return see(plan.address)
    except (Conflict, Invalid) as error:
        told = _told(error, shell, form)
        answer = await database.read(lambda tx: _page(tx, shell, plan, faults=told))
        answer.status_code = 422  # a phone that sends what waited must not take it for done
        return answer


@router.get("/moves/{identity}")
def moved_page(tx: ReadingDep, shell: ShellDep, identity: UUID, drum: Tags) -> HTMLResponse:
    """Show what was moved in one go, to be taken back for ten minutes."""
    done = moved(tx, move_id=identity, tags=drum)
    by = by_caller(shell.caller)
    logs = rows.events_of(tx, drum_ids=[one.id for one, _ in done])
    view = moved_view(tx, done, key=identity, premises=read_premises(tx), formats=shell.formats)
    return shell.answer(
        "moved.html",
        tx=tx,
        page="move",
        move=view,
        formats=shell.formats.at(view.timezone) if view else shell.formats,
        may_undo=bool(done)
        and all(e.id in undoable(logs[one.id], by=by, now=shell.now) for one, e in done),
    )


@router.post("/moves/{identity}/undo")
async def undo(request: Request, shell: ShellDep, identity: UUID) -> Response:
    """Take a move back, of all its drums."""
    refuse_unless_may(shell.caller, Action.CORRECT_OWN)
    form = await request.form()
    picked = [str(tag) for tag in form.getlist("drum")]
    await services(request).database.write(
        lambda tx: undo_move(
            tx, move_id=identity, tags=picked, by=by_caller(shell.caller), now=shell.now
        )
    )
    return see(f"/moves/{identity}?{urlencode([('drum', tag) for tag in picked])}")


def _text(form: FormData, name: str) -> str:
    value = form.get(name)
    return value if isinstance(value, str) else ""


def _plan(form: FormData) -> Plan:
    picked: list[str] = []
    seen: dict[str, str] = {}
    for value in form.getlist("drum"):
        tag, _, place = str(value).partition("@")
        picked.append(tag)
        seen[tag] = place
    return Plan(
        drums=tuple(dict.fromkeys(picked)),
        seen=seen,
        to=_text(form, "to"),
        place=_text(form, "place"),
        at=_text(form, "at"),
        note=_text(form, "note"),
        id=_text(form, "id"),
    )


def _with_scan(tx: Tx, plan: Plan, text: str) -> Plan:
    """Put a drum on the list, or take a place for where it goes."""
    scan = scans.read(text)
    if scan.place is not None:
        place_named(tx, reference=scan.place, field="scan")
        return replace(plan, to=scan.place)
    assert scan.tag is not None  # noqa: S101 - it is one of both
    drum = rows.drum_by_tag(tx, tag=scan.tag)
    if drum is None:
        fault = Fault("scan", scan.tag, "is not known", _LOOK_AGAIN)
        raise Invalid("No drum bears this tag.", [fault])
    if drum.ended is not None:
        mend = "Tell the manager that it still bears its label."
        raise Conflict("The drum is gone.", [Fault("scan", scan.tag, f"was {drum.ended}", mend)])
    return replace(plan, drums=tuple(dict.fromkeys([*plan.drums, scan.tag])))


def _move(tx: Tx, shell: Shell, plan: Plan, form: FormData) -> None:
    if not plan.to:
        mend = "Scan the label of the place, or choose it."
        raise Invalid("Say where they go.", [Fault("to", None, "is missing", mend)])
    to = place_named(tx, reference=plan.to, field="to")
    told = {"id": plan.id, "at": plan.at, "ago_s": _text(form, "ago_s")}
    past = waited(told)
    zone = catalogue.sites_by_id(tx, ids=[to.site_id])[to.site_id].timezone
    at = when(told, "at", zone=zone, now=shell.now)
    if at is None:
        _refuse_unsafe(tx, shell, plan)
    drums = _carried(tx, plan)
    move_drums(
        tx,
        move=Move(
            id=form_id(told),
            to=to.id,
            at=shell.now - past if at is None else datetime.fromisoformat(at),
            drums=drums,
            note=plan.note.strip() or None,
        ),
        by=by_caller(shell.caller),
        now=shell.now,
    )


def _carried(tx: Tx, plan: Plan) -> list[Carried]:
    """Return the drums of a form, which may have been scanned where none could be looked up.

    Raises
    ------
    Invalid
        With a fault for each that is no drum of ours.
    """
    known = rows.ids_by_tag(tx, tags=list(plan.drums))
    carried, faults = [], []
    for tag in plan.drums:
        seen = plan.seen.get(tag, "")
        field_name = f"drums.{tag}"
        try:
            place = place_named(tx, reference=seen, field=field_name).id if seen else None
            carried.append(Carried(tag=tags.parse(tag, field=field_name), seen_in=place))
        except Invalid as error:
            faults += [replace(fault, value=tag) for fault in error.faults]
            continue
        if tag not in known:
            faults.append(Fault(field_name, tag, "is not known", _LOOK_AGAIN))
    if faults:
        raise Invalid("Nothing was moved: not all of them are known.", faults)
    return carried


def _refuse_unsafe(tx: Tx, shell: Shell, plan: Plan) -> None:
    """Refuse what must not be moved now, as computed and as seen."""
    ids = rows.ids_by_tag(tx, tags=list(plan.drums))
    faults = []
    picked = rows.list_drums(tx, among=list(ids.values()), limit=None)
    facts = facts_of_all(tx, rows=picked)
    for row in picked:
        view = drum_view(row, formats=shell.formats, worded=False)
        drum = standing_of(row, view, facts[row.drum.id])
        stands = refusal(EventKind.MOVED, drum)
        if stands is not None:
            mend = "Leave it where it is; move the others."
            faults.append(Fault(f"drums.{row.drum.tag}", row.drum.tag, stands, mend))
    if faults:
        raise Conflict("Nothing was moved: not all of them may go.", faults)


def _told(error: DrumkeepError, shell: Shell, form: FormData) -> list[Fault]:
    words = {name: str(value) for name, value in form.items() if isinstance(value, str)}
    told = in_words_of_form(error, words, formats=shell.formats.at("UTC")).faults
    return [
        replace(fault, value=fault.field.partition(".")[2])
        if fault.field.startswith("drums.")
        else fault
        for fault in told
    ]


def _page(tx: Tx, shell: Shell, plan: Plan, *, faults: Sequence[Fault] = ()) -> HTMLResponse:
    """Show the form; a drum that was refused is on the list, not ticked, with the reason."""
    premises = read_premises(tx)
    known = places_by_reference(premises)
    refused = {f.field.partition(".")[2]: f for f in faults if f.field.startswith("drums.")}
    listed = carried_views(tx, formats=shell.formats, tags=plan.drums, refused=refused)
    beside: tuple[CarriedView, ...] = ()
    if plan.place in known:
        beside = carried_views(
            tx,
            formats=shell.formats,
            place_id=known[plan.place].id,
            without=plan.drums,
            most=_MOST_LISTED,
        )
    to = known.get(plan.to)
    there = {drum.tag for drum in listed}
    # One that was scanned where nobody could be asked has no line of its own.
    strangers = {f"drums.{tag}": tag for tag in plan.drums if tag not in there}
    faults = [f for f in faults if not f.field.startswith("drums.") or f.field in strangers]
    for name in strangers.keys() - {fault.field for fault in faults}:
        faults.append(Fault(name, strangers[name], "is not known", _LOOK_AGAIN))
    return shell.answer(
        "move.html",
        tx=tx,
        page="move",
        plan=plan,
        listed=listed,
        beside=beside,
        beside_words=known[plan.place].name if plan.place in known else "",
        choices=destinations(tx, premises, formats=shell.formats),
        to=to,
        faults=named_places(tx, faults),
        may_record=may(shell.caller.role, Action.RECORD),
    )
