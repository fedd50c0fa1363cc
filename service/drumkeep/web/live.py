"""Tells open pages that something changed, by server-sent events."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Final

from fastapi import APIRouter, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent

from drumkeep.asgi.dependencies import CurrentAccount, services

router = APIRouter()

LOOK_EVERY_S: Final = 2.0
_HOUR_S: Final = 3600.0


@router.get("/live", response_class=EventSourceResponse)
async def live(request: Request, _caller: CurrentAccount) -> AsyncIterator[ServerSentEvent]:
    """Send ``changed`` whenever drums, events or alarms have; ends after an hour.

    Looks at a few numbers of the database, so that it does not matter which process wrote.
    """
    closing: list[object] = request.app.state.closing
    ended = asyncio.Event()
    close = ended.set
    closing.append(close)
    database = services(request).database
    try:
        last = await database.look()
        yield ServerSentEvent(raw_data="here", event="hello")
        for _ in range(int(_HOUR_S / LOOK_EVERY_S)):
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_EVERY_S):
                    await ended.wait()
                    return
            now = await database.look()
            if now != last:
                last = now
                yield ServerSentEvent(raw_data="changed", event="changed")
    finally:
        closing.remove(close)
