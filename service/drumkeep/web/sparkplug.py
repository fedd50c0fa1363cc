"""Sparkplug groups that are read: the list, and a form to try one and have it read."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations import sparkplug_groups
from drumkeep.operations.sparkplug_metrics import Metrics
from drumkeep.operations.sparkplug_trial import octets_of, try_sample
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.mappings import trial_view
from drumkeep.web.views.sparkplug import group_views, labelled, units_of

router = APIRouter()

_MOST: Final = 10_000
_UNUSABLE: Final = 422
_BLANK: Final = {"asks": "on"}


@dataclass(frozen=True, slots=True)
class Given:
    """The form as it was sent: what it holds, what was wrong, what the sample would become."""

    fields: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    tried: Metrics | None = None


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
        answer = _page(tx, shell, Given(form, faults=labelled(error.faults)))
        answer.status_code = _UNUSABLE
        return answer
    return _page(tx, shell, Given(form, tried=tried))


@router.post("/sparkplug/{group}/delete")
def delete(tx: TransactionDep, shell: ShellDep, group: int) -> Response:
    """Read a group no more; what it brought stays."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    sparkplug_groups.delete_group(tx, group_id=group)
    tell_once_stored(tx, services(shell.request))
    return see("/sparkplug")


def _page(tx: Tx, shell: Shell, given: Given) -> HTMLResponse:
    gateways = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in gateways])
    return shell.answer(
        "sparkplug.html",
        tx=tx,
        page="sparkplug",
        groups=group_views(tx),
        given=given.fields,
        faults=given.faults,
        tried=None if given.tried is None else trial_view(given.tried, formats=shell.formats),
        gateways=sorted(names.values()),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )
