"""The weekly look at the parts of rigs: one page for the crew."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.quantities import PSI_KPA
from drumkeep.domain.rig_checks import INTERVAL, RigFinding, RigPart
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.rig_checks import Look, record_checks
from drumkeep.web.drums import posted
from drumkeep.web.form_faults import in_words_of_form
from drumkeep.web.forms import form_id, number_of, waited
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.rig_checks import PARTS, check_lines, rig_views

router = APIRouter()

_OF_LOOK: Final = re.compile(r"checks\.(?P<number>\d+)\.(?P<name>\w+)")


@router.get("/rig-checks")
def rig_checks_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show every rig with where each of its parts stands in its week."""
    return shell.answer(
        "rig_checks.html",
        tx=tx,
        page="rig_checks",
        rigs=rig_views(tx, formats=shell.formats),
        checks=check_lines(tx, formats=shell.formats),
        days=INTERVAL.days,
        may_record=may(shell.caller.role, Action.KEEP_STOCK),
    )


@router.post("/rig-checks")
def check(
    tx: TransactionDep, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Record one round of looks at a rig; parts that were not looked at are left out."""
    refuse_unless_may(shell.caller, Action.KEEP_STOCK)
    looked_at = [part for part in RigPart if form.get(part.value)]
    try:
        made = record_checks(
            tx,
            place=form.get("place", ""),
            looks=[_look(form, part) for part in looked_at],
            form_id=form_id(form),
            at=shell.now - waited(form),
            by=by_caller(shell.caller),
            now=shell.now,
        )
    except Invalid as error:
        faults = [_labelled(fault, looked_at) for fault in error.faults]
        told = Invalid(error.title, faults)
        raise in_words_of_form(told, form, formats=shell.formats) from None
    return see(f"/rig-checks#rig-{made[0].place_id}")


def _labelled(fault: Fault, looked_at: Sequence[RigPart]) -> Fault:
    """Name a part by its title, as the form does, and the gauge as other forms do."""
    if fault.field in {"checks", "place"}:
        return replace(fault, field="Looked at" if fault.field == "checks" else "Rig")
    field = _OF_LOOK.fullmatch(fault.field)
    if field is None:
        return fault
    if field["name"] == "pressure_kpa":
        return replace(fault, field="kpa")
    title, _ = PARTS[looked_at[int(field["number"])]]
    return replace(fault, field=title)


def _look(form: dict[str, str], part: RigPart) -> Look:
    pressure = None
    if part is RigPart.NITROGEN and form.get("pressure", "").strip():
        pressure = number_of(form, "pressure") * (PSI_KPA if form.get("units") == "us" else 1.0)
    note = form.get(f"{part.value}_note", "").strip() or None
    finding = form[part.value]
    if note is not None and finding == RigFinding.FINE.value:
        finding = RigFinding.NOTE.value
    return Look(part=part.value, finding=finding, pressure_kpa=pressure, note=note)
