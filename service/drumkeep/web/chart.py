"""A drum's curves, for the script on its page."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.operations import drums, history
from drumkeep.operations.event_data import places_named
from drumkeep.storage import drums as rows
from drumkeep.storage.ground import names_of
from drumkeep.storage.products import as_product
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
    product = as_product(row.product)
    log = rows.event_rows(tx, drum_id=drum.id)
    events = event_views(log, places=names_of(tx, ids=places_named(log)), formats=formats)
    start = past_start(drum, past=query.past, now=shell.now)
    course = history.course_of(
        tx,
        drum=drum,
        product=product,
        start=start,
        end=shell.now,
        hours=AHEAD_HOURS,
        in_warm_room=query.ahead == "warm_room",
    )
    curves = Curves(
        drum=drum_view(row, formats=formats, product=product),
        past=course.past.points,
        hours=course.past.hours,
        ahead=course.ahead,
        events=events,
        now=shell.now,
    )
    return drawing(curves, formats=formats, scheme=query.scheme)
