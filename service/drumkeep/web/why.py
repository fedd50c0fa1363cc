"""Why a drum's page says what it says: a page of its own, for it costs as much as the drum's."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.operations import drums
from drumkeep.operations.why import why_of
from drumkeep.storage import drums as rows
from drumkeep.web.shell import ShellDep
from drumkeep.web.views.drums import output_of
from drumkeep.web.views.why import why_view

router = APIRouter()


@router.get("/drums/{tag}/why")
def why_page(tx: ReadingDep, shell: ShellDep, tag: str) -> HTMLResponse:
    """Show what an answer about a drum rests on, how sure it is, and what would make it surer."""
    row = rows.list_drums(tx, tag=drums.drum_tagged(tx, tag=tag).tag, present=False)[0]
    formats = shell.formats.at(row.site.timezone)
    output = output_of(row)
    why = why_of(tx, row=row, output=output, now=shell.now)
    return shell.answer(
        "why.html",
        tx=tx,
        page="drum",
        formats=formats,
        why=why_view(why, row=row, output=output.value, formats=formats),
    )
