"""Adopt or forget a sensor that was heard and is not registered; the page of sensors shows them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from drumkeep.asgi.dependencies import TransactionDep, refuse_unless_may
from drumkeep.asgi.fields import RowId
from drumkeep.domain.roles import Action
from drumkeep.domain.sensors import OF_A_DRUM
from drumkeep.operations.places import place_named
from drumkeep.operations.sensors import NewMount
from drumkeep.operations.strays import adopt_stray, forget_stray
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.form_faults import labelled
from drumkeep.web.forms import when
from drumkeep.web.shell import ShellDep, see

router = APIRouter()


@router.post("/strays/{stray}/adopt")
def adopt(
    tx: TransactionDep,
    shell: ShellDep,
    stray: RowId,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Register it where it hangs, with all that it said since."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    # What a device says of itself is asked for no place.
    mount = _mount(tx, form, now=shell.now) if "place" in form else None
    with labelled(_LABEL):
        adopt_stray(tx, stray_id=stray, mount=mount, now=shell.now)
    return see("/sensors")


@router.post("/strays/{stray}/forget")
def forget(tx: TransactionDep, shell: ShellDep, stray: RowId) -> Response:
    """Let it go with what it said."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    forget_stray(tx, stray_id=stray)
    return see("/sensors#strays")


_LABEL: Final = {
    "mount.what": "It measures",
    "mount.place": "It hangs in",
    "mount.drum": "On the drum",
    "mount.since": "Since",
}


def _mount(tx: Tx, form: Mapping[str, str], *, now: datetime) -> NewMount:
    what, place = form.get("what", ""), form.get("place", "")
    site_id = place_named(tx, reference=place, field="It hangs in").site_id
    # On a drum the place is asked for its clock only.
    zone = catalogue.sites_by_id(tx, ids=[site_id])[site_id].timezone
    since = when(form, "since", zone=zone, now=now)
    on_drum = what in OF_A_DRUM
    return NewMount(
        what=what,
        place=None if on_drum else place,
        drum=form.get("drum", "").strip() or None if on_drum else None,
        since=None if since is None else datetime.fromisoformat(since),
    )
