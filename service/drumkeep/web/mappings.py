"""How messages of other devices are read: the list, and a form to try a mapping and keep it."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, Invalid
from drumkeep.operations import foreign_mappings
from drumkeep.operations.foreign import ForeignMap, check_map, read_message
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.trials import Given, trial_page

router = APIRouter()


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
        return _page(tx, shell, Given(form, faults=error.faults))
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
    known = foreign_mappings.known_mappings(tx)
    return trial_page(tx, shell, "mappings", given, mappings=known, expressions=FIELDS)
