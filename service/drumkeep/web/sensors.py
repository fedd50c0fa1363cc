"""Sensors by place: what they say, how old it is, and what they are doubted for."""

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.domain.roles import Action, may
from drumkeep.operations.sensor_list import sensor_page
from drumkeep.web.forms import leaf_number
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.devices import device_views
from drumkeep.web.views.gateways import wrong_clocks
from drumkeep.web.views.sensors import spot_views
from drumkeep.web.views.strays import places_to_hang, stray_views

router = APIRouter()


class SensorQuery(BaseModel):
    """What is sought among the sensors, and which page of the list; anything strange is page 1."""

    text: Annotated[str, Field(max_length=200)] = ""
    page: Annotated[str, Field(max_length=200)] = ""

    def address(self, number: int) -> str:
        """Return the address of another page of the same list."""
        return f"/sensors?{urlencode({'text': self.text, 'page': number})}"


@router.get("/sensors")
def sensors_page(
    tx: ReadingDep, shell: ShellDep, query: Annotated[SensorQuery, Query()]
) -> HTMLResponse:
    """Show a page of the sensors where they hang, those that need somebody first."""
    number = leaf_number(query.page)
    found = sensor_page(tx, sought=query.text, number=number, now=shell.now)
    may_change = may(shell.caller.role, Action.CHANGE_CATALOGUE)
    return shell.answer(
        "sensors.html",
        tx=tx,
        page="sensors",
        spots=spot_views(tx, found.hanging, formats=shell.formats),
        clocks=wrong_clocks(tx, formats=shell.formats, now=shell.now),
        devices=device_views(tx, found.sayings, beside=found.beside, now=shell.now),
        loose=found.loose,
        strays=stray_views(tx, found.strays, formats=shell.formats),
        places=places_to_hang(tx) if found.strays and may_change else (),
        may_change=may_change,
        sought=query.text,
        number=found.number,
        pages=found.pages,
        before=query.address(found.number - 1),
        after=query.address(found.number + 1),
    )
