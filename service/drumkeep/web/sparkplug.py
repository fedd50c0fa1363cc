"""Sparkplug groups that are read: the list, and a form to try one and have it read."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.asgi.fields import RowId
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations import sparkplug_groups
from drumkeep.operations.sparkplug_trial import octets_of, try_sample
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.trials import Given, trial_page
from drumkeep.web.views.sparkplug import group_views, labelled, units_of

router = APIRouter()

_BLANK: Final = {"asks": "on"}


@router.get("/sparkplug")
def sparkplug_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the groups that are read, with a form to try one."""
    return _page(tx, shell, Given(_BLANK))


@router.post("/sparkplug")
def try_or_keep(
    tx: TransactionDep, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Show what the sample would become; with the other button have the group read."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    group, node = form.get("group", "").strip(), form.get("node", "").strip()
    gateway = form.get("gateway", "")
    try:
        units = units_of(form.get("units", ""))
        if form.get("do") == "keep":
            sparkplug_groups.create_group(
                tx, group=group, node=node, gateway=gateway, units=units, asks="asks" in form
            )
            tell_once_stored(tx, services(shell.request))
            return see("/sparkplug")
        reads = sparkplug_groups.check_group(group=group, node=node, units=units)
        tried = try_sample(
            tx,
            reads=reads,
            gateway=gateway,
            topic=form.get("sample_topic", "").strip(),
            octets=octets_of(form.get("sample", "")),
            now=shell.now,
        )
    except (Invalid, Conflict) as error:
        return _page(tx, shell, Given(form, faults=labelled(error.faults)))
    return _page(tx, shell, Given(form, tried=tried))


@router.post("/sparkplug/{group}/delete")
def delete(tx: TransactionDep, shell: ShellDep, group: RowId) -> Response:
    """Read a group no more; what it brought stays."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    sparkplug_groups.delete_group(tx, group_id=group)
    tell_once_stored(tx, services(shell.request))
    return see("/sparkplug")


def _page(tx: Tx, shell: Shell, given: Given) -> HTMLResponse:
    return trial_page(tx, shell, "sparkplug", given, groups=group_views(tx))
