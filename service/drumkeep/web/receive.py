"""Receiving drums: scan or type, say what was measured and seen, and get a receipt."""

from collections.abc import Container, Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Final
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import ValidationError

from drumkeep.asgi.deliveries import DeliveryIn, delivery_of
from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.asgi.faults import fault_of
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.photos import picture_in
from drumkeep.domain.photos import Shows
from drumkeep.domain.products import Side
from drumkeep.domain.roles import Action, may
from drumkeep.domain.supplier_labels import LONGEST
from drumkeep.errors import Conflict, Fault, Invalid, heard
from drumkeep.operations.deliveries import (
    RINGS,
    Told,
    delivered,
    receive_delivery,
    received_before,
    told_wrong,
)
from drumkeep.operations.ground import read_premises
from drumkeep.operations.photos import Caption, photo_of_delivery, photos_of_delivery
from drumkeep.operations.pictures import Picture
from drumkeep.operations.places import place_named
from drumkeep.operations.products import product_named
from drumkeep.operations.supplier_labels import Scanned, look_up_label
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.forms import chosen, mass_of, number_of, temperature_of, when
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.photos import SHOWS_WORDS, photo_views
from drumkeep.web.views.places import named_places, place_choices
from drumkeep.web.views.receive import (
    faults_in_words,
    filled_in,
    label_facts,
    next_field,
    receipt_view,
)
from drumkeep.web.views.sentences import all_said

router = APIRouter()

PLACE_COOKIE: Final = "drumkeep_receive"
_YEAR_S: Final = 365 * 86_400

Text = Annotated[str, Query(max_length=LONGEST)]


@router.get("/receive")
def receive_page(request: Request, tx: ReadingDep, shell: ShellDep, label: Text = "") -> Response:
    """Ask for a scan, and for what no label says; filled in as far as one does."""
    given = {"id": str(uuid4()), "place": request.cookies.get(PLACE_COOKIE, "")}
    if not label.strip():
        return _page(tx, shell, given=given)
    try:
        found = look_up_label(tx, text=label, now=shell.now)
    except Invalid as error:
        faults = faults_in_words(error.faults, shell.formats)
        return _page(tx, shell, given=given | {"label": label}, faults=faults)
    filled = given | filled_in(found, formats=shell.formats) | {"label": label}
    return _page(tx, shell, given=filled, found=found, focus=next_field(filled, found))


@router.post("/receive")
async def receive(
    request: Request, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Receive the drums and show the receipt; what cannot be is told on the filled-in form."""
    refuse_unless_may(shell.caller, Action.RECORD)
    database = services(request).database
    try:
        async with request.form() as sent:
            picture = await picture_in(sent)
        identity = await database.write(lambda tx: _receive(tx, shell, form, picture))
    except (Conflict, Invalid) as error:
        faults = faults_in_words(error, shell.formats)
        return await database.read(lambda tx: _page(tx, shell, given=_with_id(form), faults=faults))
    answer = see(f"/receipts/{identity}")
    answer.set_cookie(
        PLACE_COOKIE, form.get("place", ""), max_age=_YEAR_S, httponly=True, samesite="lax"
    )
    return answer


@router.get("/receipts/{identity}")
def receipt_page(tx: ReadingDep, shell: ShellDep, identity: UUID) -> HTMLResponse:
    """Show what was received in one go, to be printed."""
    found = delivered(tx, delivery_id=identity)
    row = drum_rows.list_drums(tx, tag=found[0][0].tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    return shell.answer(
        "receipt.html",
        tx=tx,
        page="receive",
        formats=formats,
        receipt=receipt_view(tx, found, key=identity, formats=formats),
        photos=photo_views(tx, photos_of_delivery(tx, key=identity)),
        shows=SHOWS_WORDS,
        may_receive=may(shell.caller.role, Action.RECORD),
    )


def _with_id(form: Mapping[str, str]) -> dict[str, str]:
    return {"id": str(uuid4()), **form}


def _page(
    tx: Tx,
    shell: Shell,
    *,
    given: Mapping[str, str],
    found: Scanned | None = None,
    focus: str = "label",
    faults: tuple[Fault, ...] = (),
) -> HTMLResponse:
    premises = read_premises(tx)
    answer = shell.answer(
        "receive.html",
        tx=tx,
        page="receive",
        given=given,
        focus=focus if not faults else "",
        faults=named_places(tx, faults),
        facts=() if found is None else label_facts(found.label, formats=shell.formats),
        doubts=() if found is None else all_said(list(found.doubts), shell.formats),
        lots=() if found is None else found.label.lots,
        products=[(p.code, p.name, p.side) for p in catalogue.list_products(tx, limit=1000)],
        places=place_choices(premises),
        may_receive=may(shell.caller.role, Action.RECORD),
    )
    answer.status_code = 422 if faults else 200
    return answer


def _receive(tx: Tx, shell: Shell, form: Mapping[str, str], picture: Picture | None = None) -> UUID:
    sent = _delivery(tx, shell, form)
    by = by_caller(shell.caller)
    receive_delivery(tx, delivery=delivery_of(tx, sent), by=by, now=shell.now)
    if picture is not None:
        caption = Caption(shows=_shown(form))
        photo_of_delivery(tx, key=sent.id, picture=picture, caption=caption, by=by, now=shell.now)
    return sent.id


def _shown(form: Mapping[str, str]) -> Shows:
    """Return what a photo that came with the form shows: what is told to be off."""
    off = {
        Shows.BULGE: form.get("bulge") == "seen",
        Shows.SOLIDS: form.get("solids") == "seen",
        Shows.DAMAGE: bool(form.get("damage", "").strip()),
        Shows.RING: form.get("ring", "not_looked") != "not_looked",
    }
    return next((shows for shows, told in off.items() if told), Shows.OTHER)


def _delivery(tx: Tx, shell: Shell, form: Mapping[str, str]) -> DeliveryIn:
    """Return the delivery that a form tells of, as the API takes it.

    Raises
    ------
    Invalid
        With a fault for every field that cannot be taken as it stands.
    """
    faults: list[Fault] = []
    body = _read(tx, shell, form, faults)
    try:
        sent = DeliveryIn.model_validate(body)
    except ValidationError as error:
        found = [fault_of(one) for one in error.errors(include_url=False)]
        # What is not in the body could not be read, which is told already.
        faults += [fault for fault in found if fault.field.partition(".")[0] in body]
    if faults:
        named = {fault.field for fault in faults}
        late = told_wrong(tx, _told(body, faults=named), now=shell.now)
        faults += [fault for fault in late if fault.field not in named]
        raise Invalid("That cannot be received as it is.", faults)
    return sent


def _told(body: Mapping[str, Any], *, faults: Container[str]) -> Told:
    """Return what could be read of a form with faults, to look what else is wrong."""
    asked = ("product", "lot", "count", "net_kg", "liquid_c")
    read = {name: body[name] for name in asked if name in body and name not in faults}
    return Told(made_on="made_on" in body, **read)


def _read(tx: Tx, shell: Shell, form: Mapping[str, str], faults: list[Fault]) -> dict[str, Any]:
    """Return the fields that can be read; what is wrong with others is put to the faults."""
    us = form.get("units", shell.caller.units) == "us"
    zone = "UTC"  # while nobody says where: a time that is none is told all the same
    body: dict[str, Any] = {
        "id": form.get("id", ""),
        "lot": form.get("lot", "").strip() or None,
        "made_on": form.get("made_on") or None,
        "expires_on": form.get("expires_on") or None,
        "measured": form.get("measured", "dip"),
        "gtin": form.get("gtin") or None,
        "label": form.get("label", "").strip() or None,
        "note": form.get("note", "").strip() or None,
    }
    with heard(faults):
        body["product"] = chosen(form, "product", mend="Choose what is in them.")
    if body["lot"] is None:
        faults.append(Fault("lot", None, "is missing", "Write the lot that their label bears."))
    with heard(faults):
        body["count"] = _whole(form, "count")
    with heard(faults):
        body["net_kg"] = mass_of(form, "mass", us=us)
    with heard(faults):
        place = place_named(tx, reference=chosen(form, "place", mend="Choose where they go."))
        body["place"] = form["place"]
        zone = catalogue.sites_by_id(tx, ids=[place.site_id])[place.site_id].timezone
    with heard(faults):
        body["liquid_c"] = temperature_of(form, "temperature", us=us)
    with heard(faults):
        body["looks"] = _looks(tx, form)
    with heard(faults):
        body["at"] = when(form, "at", zone=zone, now=shell.now) or _came(tx, form, shell.now)
    return {name: value for name, value in body.items() if value is not None}


def _whole(form: Mapping[str, str], name: str) -> int:
    value = number_of(form, name)
    if value != int(value):
        raise Invalid(
            "That is no number of drums.",
            [Fault(name, form[name], "is not a whole number", "Write how many there are.")],
        )
    return int(value)


def _looks(tx: Tx, form: Mapping[str, str]) -> dict[str, str]:
    off: dict[str, str] = {name: "seen" for name in ("bulge", "solids") if form.get(name) == "seen"}
    if form.get("ring", "not_looked") != "not_looked":
        off["ring"] = form["ring"]
    if form.get("damage", "").strip():
        off["damage"] = form["damage"].strip()
    if form.get("fine") != "yes":
        return off
    if off:
        mend = "Untick it, or clear what is off. Drums that differ are received apart."
        raise Invalid(
            "The looks do not go together.",
            [Fault("fine", None, "nothing off is ticked, and something off is told", mend)],
        )
    if not form.get("product"):
        return {}  # told with whatever else is wrong
    product = product_named(tx, code=form["product"])
    return {"bulge": "none", "ring": RINGS[Side(product.side)]}


def _came(tx: Tx, form: Mapping[str, str], now: datetime) -> str:
    """Return when drums came that a form without a time tells of: sent twice they came once."""
    try:
        known = received_before(tx, delivery_id=UUID(form.get("id", "")))
    except ValueError:
        known = []  # no UUID, which is told with whatever else is wrong
    at = known[0][1].at if known else now
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")
