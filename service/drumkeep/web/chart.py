"""A drum's curves, for the script on its page."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.operations import drums, history
from drumkeep.operations.event_data import places_named
from drumkeep.storage import drums as rows
from drumkeep.storage.ground import names_of
from drumkeep.web.drums import AHEAD_HOURS, past_start
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.drums import drum_view
from drumkeep.web.views.events import event_views

router = APIRouter()


class ChartQuery(BaseModel):
    """Which past and future, on which paper."""

    past: Literal["days", "all"] = "days"
    ahead: Literal["here", "warm_room"] = "here"
    scheme: Literal["light", "dark"] = "light"


@router.get("/drums/{tag}/chart.json")
def chart(
    tx: ReadingDep, shell: ShellDep, tag: str, query: Annotated[ChartQuery, Query()]
) -> dict[str, Any]:
    """Return the drawing of a drum's last five days, or all since it came, and the next two."""
    # a third of the start-up time of the service, for one page
    from drumkeep.web.curves import Curves, drawing  # noqa: PLC0415

    drum = drums.drum_tagged(tx, tag=tag)
    row = rows.list_drums(tx, tag=drum.tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    place = history.warm_room_for(tx, drum=drum) if query.ahead == "warm_room" else None
    log = rows.event_rows(tx, drum_id=drum.id)
    events = event_views(log, places=names_of(tx, ids=places_named(log)), formats=formats)
    start = past_start(drum, past=query.past, now=shell.now)
    past = history.past_of(tx, drum=drum, start=start, end=shell.now)
    curves = Curves(
        drum=drum_view(row, formats=formats),
        past=past.points,
        hours=past.hours,
        ahead=history.ahead_of(tx, drum=drum, hours=AHEAD_HOURS, place_id=place),
        events=events,
        now=shell.now,
    )
    return drawing(curves, formats=formats, scheme=query.scheme)
