"""Pull lists: ask for sets, tick the drums off by scanning, swap what is ready no more."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Annotated, Final
from uuid import UUID, uuid4

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.roles import Action, may
from drumkeep.domain.scans import drum_read
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid, NotFound
from drumkeep.operations import pulls
from drumkeep.operations.pulls import Order, WrongDrum
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue
from drumkeep.storage import pulls as rows
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.tables.catalogue import Product
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.formats import Formats
from drumkeep.web.forms import number_of, when
from drumkeep.web.qr import public_address
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.pulls import PullHead, codes_of, pull_head, pull_view
from drumkeep.web.views.sentences import said
from drumkeep.web.wording import AND

router = APIRouter()

_MOST: Final = 1000
_SHOWN: Final = 20
_PAIR: Final = "|"
_LABELS: Final = {
    "id": "This form",
    "sets": "How many sets",
    "iso": "Of what",
    "resin": "Of what",
    "site": "From",
    "wanted_at": "Ready by",
}

FormDep = Annotated[dict[str, str], Depends(posted)]
AddressDep = Annotated[str, Depends(public_address)]


@router.get("/pulls")
def pulls_page(tx: ReadingDep, shell: ShellDep, site: str = "") -> HTMLResponse:
    """Ask for a list, and show those that there are."""
    return _asking(tx, shell, given={"site": site, "sets": "1"})


@router.post("/pulls")
def make(tx: TransactionDep, shell: ShellDep, form: FormDep) -> Response:
    """Make a list; what cannot be is told on the filled-in form."""
    refuse_unless_may(shell.caller, Action.PULL)
    try:
        # Of what is refused nothing may stay: the page that tells so ends the transaction well.
        with savepoint(tx):
            order = _order(tx, form)
            by = by_caller(shell.caller)
            pull = pulls.make_pull(tx, order=order, by=by, now=shell.now)
    except (Conflict, Invalid) as error:
        return _asking(tx, shell, given=form, error=error)
    return see(f"/pulls/{pull.id}")


@router.get("/pulls/{pull_id}")
def pull_page(tx: ReadingDep, shell: ShellDep, pull_id: RowId, address: AddressDep) -> HTMLResponse:
    """Show a list with how its drums stand now, to be printed or ticked off."""
    return _list(tx, shell, pull_id, address=address)


@router.post("/pulls/{pull_id}/take")
def take(
    tx: TransactionDep, shell: ShellDep, pull_id: RowId, form: FormDep, address: AddressDep
) -> Response:
    """Tick a drum off; the wrong one is refused loudly, naming the right one."""
    refuse_unless_may(shell.caller, Action.PULL)
    try:
        tag = drum_read(form.get("tag", ""), field="tag")
        by = by_caller(shell.caller)
        pulls.take_drum(tx, pull_id=pull_id, tag=tag, by=by, now=shell.now)
    except (Conflict, Invalid, NotFound) as error:
        return _list(tx, shell, pull_id, address=address, error=error)
    return see(f"/pulls/{pull_id}#tick")


@router.post("/pulls/{pull_id}/back")
def back(tx: TransactionDep, shell: ShellDep, pull_id: RowId, form: FormDep) -> Response:
    """Take back that a drum was ticked off."""
    refuse_unless_may(shell.caller, Action.PULL)
    pulls.put_back(tx, pull_id=pull_id, tag=form.get("tag", ""))
    return see(f"/pulls/{pull_id}")


@router.post("/pulls/{pull_id}/swap")
def swap(
    tx: TransactionDep, shell: ShellDep, pull_id: RowId, form: FormDep, address: AddressDep
) -> Response:
    """Put the nearest ready drum in the place of one."""
    refuse_unless_may(shell.caller, Action.PULL)
    by = by_caller(shell.caller)
    try:
        pulls.swap_drum(tx, pull_id=pull_id, tag=form.get("tag", ""), by=by, now=shell.now)
    except Conflict as error:
        return _list(tx, shell, pull_id, address=address, error=error)
    return see(f"/pulls/{pull_id}")


@router.post("/pulls/{pull_id}/fill")
def fill(tx: TransactionDep, shell: ShellDep, pull_id: RowId, _form: FormDep) -> Response:
    """Look anew for what is missing."""
    refuse_unless_may(shell.caller, Action.PULL)
    pulls.fill_pull(tx, pull_id=pull_id, now=shell.now)
    return see(f"/pulls/{pull_id}")


@router.post("/pulls/{pull_id}/close")
def close(tx: TransactionDep, shell: ShellDep, pull_id: RowId, form: FormDep) -> Response:
    """Close a list: its drums are free for others."""
    refuse_unless_may(shell.caller, Action.PULL)
    done = form.get("closed_as") == pulls.DONE
    pulls.close_pull(tx, pull_id=pull_id, done=done, by=by_caller(shell.caller), now=shell.now)
    return see("/pulls")


def _asking(
    tx: Tx, shell: Shell, *, given: Mapping[str, str], error: DrumkeepError | None = None
) -> HTMLResponse:
    found = catalogue.list_products(tx, limit=_MOST)
    sites = catalogue.list_sites(tx, limit=_MOST)
    answer = shell.answer(
        "pulls.html",
        tx=tx,
        page="pulls",
        given={"id": str(uuid4()), **given},
        error=error,
        faults=()
        if error is None
        else [(_LABELS.get(fault.field, fault.field), fault) for fault in error.faults],
        sites=[(site.code, site.name) for site in sites],
        pairs=_pairs(found, formats=shell.formats),
        open=_heads(tx, rows.pulls(tx, open_only=True, limit=_MOST)),
        past=[
            head
            for head in _heads(tx, rows.pulls(tx, open_only=False, limit=_SHOWN))
            if head.closed_as
        ],
        may_pull=may(shell.caller.role, Action.PULL),
    )
    answer.status_code = 200 if error is None else 422
    return answer


def _pairs(found: Sequence[Product], *, formats: Formats) -> list[tuple[str, str]]:
    """Return the pairs that may go together: of one system, then where one is not said."""
    sides = {side: [product for product in found if product.side == side] for side in Side}
    pairs = [
        (iso, resin)
        for iso in sides[Side.ISO]
        for resin in sides[Side.RESIN]
        if iso.system == resin.system or None in (iso.system, resin.system)
    ]
    pairs.sort(key=lambda pair: (None in (pair[0].system, pair[1].system), pair[1].name))
    together = "{pair} (not on record that they go together)"
    told = []
    for iso, resin in pairs:
        pair = f"{iso.name} {formats.words(AND)} {resin.name}"
        words = pair if iso.system and resin.system else formats.words(together, pair=pair)
        told.append((f"{iso.code}{_PAIR}{resin.code}", words))
    return told


def _heads(tx: Tx, found: Sequence[Pull]) -> list[PullHead]:
    sites = catalogue.sites_by_id(tx, ids=[pull.site_id for pull in found])
    ids = [product_id for pull in found for product_id in (pull.iso_id, pull.resin_id)]
    products = catalogue.products_by_id(tx, ids=ids)
    return [pull_head(pull, site=sites[pull.site_id], products=products) for pull in found]


def _list(
    tx: Tx, shell: Shell, pull_id: int, *, address: str, error: DrumkeepError | None = None
) -> HTMLResponse:
    found = pulls.pull_now(tx, pull_id=pull_id, now=shell.now)
    formats = shell.formats.at(found.site.timezone)
    view = pull_view(found, formats=formats)
    wrong = error if isinstance(error, WrongDrum) else None
    places = catalogue.places_by_id(
        tx, ids=[] if wrong is None or wrong.instead is None else [wrong.instead.place_id]
    )
    answer = shell.answer(
        "pull.html",
        tx=tx,
        page="pulls",
        formats=formats,
        pull=view,
        codes=codes_of(view, address=address, formats=formats),
        error=error,
        faults=()
        if error is None
        else [
            f"{said(fault.problem, formats)}. {said(fault.mend, formats)}" for fault in error.faults
        ],
        refused=error.faults[0].value if error is not None and error.faults else None,
        wrong=wrong,
        instead_in=next((place.name for place in places.values()), ""),
        may_pull=may(shell.caller.role, Action.PULL),
    )
    answer.status_code = 200 if error is None else 409
    return answer


def _order(tx: Tx, form: Mapping[str, str]) -> Order:
    site = site_named(tx, code=form.get("site", ""))
    iso, _, resin = form.get("pair", "").partition(_PAIR)
    sets = number_of(form, "sets")
    if sets != int(sets):
        fault = Fault("sets", form["sets"], "is not a whole number", "Write how many sets.")
        raise Invalid("That is no number of sets.", [fault])
    wanted = when(form, "wanted_at", zone=site.timezone, now=None)
    output = form.get("output", "")
    return Order(
        client_id=_identity(form),
        site=site.code,
        iso=iso,
        resin=resin,
        sets=int(sets),
        output=OutputClass(output) if output in set(OutputClass) else None,
        wanted_at=None if wanted is None else datetime.fromisoformat(wanted).astimezone(UTC),
    )


def _identity(form: Mapping[str, str]) -> UUID:
    try:
        return UUID(form.get("id", ""))
    except ValueError:
        fault = Fault("id", form.get("id"), "is no UUID", "Load the page again.")
        raise Invalid("The form cannot be used.", [fault]) from None
