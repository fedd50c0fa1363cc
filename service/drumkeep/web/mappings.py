"""How messages of other devices are read: the list, and a form to try a mapping and keep it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations import foreign_mappings
from drumkeep.operations.foreign import ForeignMap, ForeignReadings, check_map, read_message
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.mappings import trial_view

router = APIRouter()

_MOST: Final = 10_000
_UNUSABLE: Final = 422

FIELDS: Final = (
    ("topic", "Topics", "+ stands for one level, # at the end for all further: sensors/+/state"),
    ("items", "Items", "@ for the message as a whole, or where its list of readings is"),
    ("name", "Name", "Of the sensor: join(':', ['urn:dev:os:32473-shed', topic[1]])"),
    ("value", "Value", "item.temperature"),
    ("unit", "Unit", "item.unit, or 'F', 'C', 'K', '%RH', 'W/m2' in single quotes"),
    ("time", "Time", "item.time; empty: when the message came"),
)
"""Name, label and hint of each expression."""

_BLANK: Final = {
    "items": "@",
    "sample_topic": "sensors/shed/state",
    "sample": '{"temperature": 72.5}',
}


@dataclass(frozen=True, slots=True)
class Given:
    """The form as it was sent: what it holds, what was wrong, what the sample would become."""

    fields: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    tried: ForeignReadings | None = None


@router.get("/mappings")
def mappings_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the mappings, with a form to try one."""
    return _page(tx, shell, Given(_BLANK))


@router.post("/mappings")
def try_or_keep(
    tx: TransactionDep, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Show what the sample would become; with the other button keep the mapping."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    root = services(shell.request).mqtt_root
    mapping = ForeignMap(
        topic=form.get("topic", "").strip(),
        items=form.get("items", "").strip() or "@",
        name=form.get("name", "").strip(),
        value=form.get("value", "").strip(),
        unit=form.get("unit", "").strip(),
        time=form.get("time", "").strip() or None,
    )
    try:
        if form.get("do") == "keep":
            code, gateway = form.get("code", "").strip(), form.get("gateway", "")
            foreign_mappings.create_mapping(
                tx, code=code, gateway=gateway, mapping=mapping, root=root
            )
            tell_once_stored(tx, services(shell.request))
            return see("/mappings")
        check_map(mapping, root=root)
    except (Invalid, Conflict) as error:
        answer = _page(tx, shell, Given(form, faults=error.faults))
        answer.status_code = _UNUSABLE
        return answer
    sample = form.get("sample", "").encode()
    topic = form.get("sample_topic", "").strip()
    tried = read_message(mapping, topic=topic, payload=sample, now=shell.now)
    return _page(tx, shell, Given(form, tried=tried))


@router.post("/mappings/{code}/delete")
def delete(tx: TransactionDep, shell: ShellDep, code: str) -> Response:
    """Let a mapping go; what it brought stays."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    foreign_mappings.delete_mapping(tx, code=code)
    tell_once_stored(tx, services(shell.request))
    return see("/mappings")


def _page(tx: Tx, shell: Shell, given: Given) -> HTMLResponse:
    gateways = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in gateways])
    return shell.answer(
        "mappings.html",
        tx=tx,
        page="mappings",
        mappings=foreign_mappings.known_mappings(tx),
        expressions=FIELDS,
        given=given.fields,
        faults=given.faults,
        tried=None if given.tried is None else trial_view(given.tried, formats=shell.formats),
        gateways=sorted(names.values()),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )
