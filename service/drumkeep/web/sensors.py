"""Sensors by place: what they say, how old it is, and what they are doubted for."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.domain.roles import Action, may
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.devices import device_views
from drumkeep.web.views.gateways import wrong_clocks
from drumkeep.web.views.sensors import loose_sensors, spot_views
from drumkeep.web.views.strays import places_to_hang, stray_views

router = APIRouter()


@router.get("/sensors")
def sensors_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show every sensor where it hangs, those that need somebody first in each place."""
    spots = spot_views(tx, formats=shell.formats)
    devices = device_views(tx, now=shell.now)
    return shell.answer(
        "sensors.html",
        tx=tx,
        page="sensors",
        spots=spots,
        clocks=wrong_clocks(tx, formats=shell.formats, now=shell.now),
        devices=devices,
        loose=loose_sensors(tx, spots, but={view.name for view in devices.every}),
        strays=stray_views(tx, formats=shell.formats),
        places=places_to_hang(tx),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )
