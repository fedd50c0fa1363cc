"""The weekly look at the parts of rigs: one page for the crew."""

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.quantities import PSI_KPA
from drumkeep.domain.rig_checks import INTERVAL, RigFinding, RigPart
from drumkeep.domain.roles import Action, may
from drumkeep.operations.rig_checks import Look, record_checks
from drumkeep.web.drums import posted
from drumkeep.web.forms import form_id, number_of, waited
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.rig_checks import check_lines, rig_views

router = APIRouter()


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
    made = record_checks(
        tx,
        place=form.get("place", ""),
        looks=[_look(form, part) for part in RigPart if form.get(part.value)],
        form_id=form_id(form),
        at=shell.now - waited(form),
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"/rig-checks#rig-{made[0].place_id}")


def _look(form: dict[str, str], part: RigPart) -> Look:
    pressure = None
    if part is RigPart.NITROGEN and form.get("pressure", "").strip():
        pressure = number_of(form, "pressure") * (PSI_KPA if form.get("units") == "us" else 1.0)
    note = form.get(f"{part.value}_note", "").strip() or None
    finding = form[part.value]
    if note is not None and finding == RigFinding.FINE.value:
        finding = RigFinding.NOTE.value
    return Look(part=part.value, finding=finding, pressure_kpa=pressure, note=note)
