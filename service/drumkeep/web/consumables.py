"""Nitrogen, desiccant, pump lubricant: what is in hand, taken, added, counted."""

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action, may
from drumkeep.operations import consumables
from drumkeep.operations.ground import read_premises
from drumkeep.web.drums import posted
from drumkeep.web.forms import form_id, number_of, waited
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.consumables import KINDS, consumable_views
from drumkeep.web.views.places import place_choices

router = APIRouter()

Form = Annotated[dict[str, str], Depends(posted)]


@router.get("/stock/consumables")
def consumables_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show what is in hand, what is under its minimum first."""
    premises = read_premises(tx)
    return shell.answer(
        "consumables.html",
        tx=tx,
        page="stock",
        items=consumable_views(tx, premises=premises),
        kinds=tuple(KINDS.items()),
        places=place_choices(premises),
        may_record=may(shell.caller.role, Action.KEEP_STOCK),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )


@router.post("/stock/consumables")
def keep(tx: TransactionDep, shell: ShellDep, form: Form) -> Response:
    """Begin to keep something."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    row = consumables.keep_consumable(
        tx,
        place=form.get("place", ""),
        kind=form.get("kind", ""),
        name=form.get("name", "").strip(),
        unit=form.get("unit", "").strip(),
        minimum=_minimum(form),
    )
    return see(f"/stock/consumables#kept-{row.id}")


@router.post("/stock/consumables/{consumable_id}/entries")
def enter(tx: TransactionDep, shell: ShellDep, consumable_id: RowId, form: Form) -> Response:
    """Record that somebody took, added or counted."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    consumables.record_entry(
        tx,
        consumable_id=consumable_id,
        entry_id=form_id(form),
        deed=form.get("deed", ""),
        quantity=number_of(form, "quantity"),
        at=shell.now - waited(form),
        note=form.get("note", "").strip() or None,
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/stock/consumables#kept-{consumable_id}")


@router.post("/stock/consumables/{consumable_id}/change")
def change(tx: TransactionDep, shell: ShellDep, consumable_id: RowId, form: Form) -> Response:
    """Change what should not be gone under, or drop it."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    changes: consumables.ConsumableChanges = (
        {"dropped": True} if form.get("drop") else {"minimum": _minimum(form)}
    )
    consumables.change_consumable(tx, consumable_id=consumable_id, changes=changes, now=shell.now)
    return see("/stock/consumables")


def _minimum(form: dict[str, str]) -> float | None:
    return number_of(form, "minimum") if form.get("minimum", "").strip() else None
