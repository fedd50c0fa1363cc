"""Printing labels, for the API and the pages alike: look up, draw, and only then log."""

from datetime import datetime

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import services
from drumkeep.asgi.happenings import by_caller
from drumkeep.operations.label_sheets import draw_sheets
from drumkeep.operations.labels import LabelOrder, label_run, log_prints


async def printed(
    request: Request, *, order: LabelOrder, caller: Caller, now: datetime
) -> Response:
    """Answer a PDF of labels; that they were printed is on record by then.

    Drawing holds no transaction: two hundred labels take a second.
    """
    database = services(request).database
    public_url: str | None = request.app.state.public_url
    by = by_caller(caller)
    run = await database.read(lambda tx: label_run(tx, order=order, public_url=public_url, by=by))
    pdf = await run_in_threadpool(
        draw_sheets, run.labels, size=run.size, start=run.start, language=order.language
    )
    await database.write(lambda tx: log_prints(tx, run=run, by=by, now=now))
    return Response(
        pdf,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="labels-{run.size.code}.pdf"'},
    )
