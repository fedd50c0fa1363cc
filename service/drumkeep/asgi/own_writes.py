"""Has a browser say for a few seconds that it has changed something, where there is a replica."""

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from drumkeep.asgi.authentication import SAFE_METHODS, WROTE
from drumkeep.storage.replica import STALE_S

_FAILED: Final = 400
_SECONDS: Final = int(2 * STALE_S)


class OwnWrites:
    """ASGI middleware: after a change the answer asks to be reminded of it.

    Parameters
    ----------
    secure
        Whether people come by HTTPS.
    """

    def __init__(self, app: ASGIApp, *, secure: bool) -> None:
        self.app = app
        self._cookie = f"{WROTE}=1; Max-Age={_SECONDS}; Path=/; HttpOnly; SameSite=Lax" + (
            "; Secure" if secure else ""
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return

        async def send_reminder(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] < _FAILED:
                MutableHeaders(scope=message).append("Set-Cookie", self._cookie)
            await send(message)

        await self.app(scope, receive, send_reminder)
