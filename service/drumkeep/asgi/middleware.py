"""What every answer gets: an id, security headers, a bounded body, and no bare stack trace."""

import asyncio
import logging
import secrets
from contextvars import ContextVar
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from drumkeep.asgi import problems
from drumkeep.asgi.meters import Meters
from drumkeep.asgi.soundness import text_fault
from drumkeep.errors import Invalid

MAX_BODY: Final = 1024 * 1024
"""Bytes of a request's body."""

MAX_UPLOAD: Final = 16 * MAX_BODY
"""Bytes where a file is uploaded: a year of a logger that records every minute."""

UPLOADS: Final = frozenset(
    {
        "/api/v1/readings/imports",
        "/sensors/import",
        "/api/v1/photos",
        "/photos",
        "/receive",
    }
)

request_id: ContextVar[str | None] = ContextVar("request_id", default=None)
"""Id of the request that is being answered, for the log."""

# A client that is still sending sees a broken connection instead of the answer, so the rest of an
# oversized body is read and thrown away, within bounds.
_DRAIN_BYTES: Final = 64 * MAX_BODY
_DRAIN_SECONDS: Final = 10.0

_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"})

_LOG: Final = logging.getLogger(__name__)

_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
    "X-Frame-Options": "DENY",
}


def content_security_policy(nonce: str) -> str:
    """Own scripts and styles only; style elements made by scripts need the request's nonce."""
    return (
        "default-src 'none'; script-src 'self'; "
        f"style-src 'self' 'nonce-{nonce}'; img-src 'self' data:; font-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    )


class Envelope:
    """ASGI middleware around everything else.

    It puts ``request_id`` and ``nonce`` into ``request.state``, refuses bodies over
    :data:`MAX_BODY`, or :data:`MAX_UPLOAD` where files come, by their length or while they stream,
    sets the security headers, and answers a defect with a problem that tells nothing but the id.
    """

    def __init__(self, app: ASGIApp, *, meters: Meters) -> None:
        self.app = app
        self._meters = meters

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        identity = secrets.token_hex(8)
        nonce = secrets.token_urlsafe(16)
        scope.setdefault("state", {}).update(request_id=identity, nonce=nonce)
        request_id.set(identity)
        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                self._meters.count(
                    "drumkeep_http_responses_total",
                    labels={"method": _method(scope), "status": str(message["status"])},
                )
                headers = MutableHeaders(scope=message)
                headers["X-Request-ID"] = identity
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Content-Security-Policy", content_security_policy(nonce))
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        most = MAX_UPLOAD if scope["path"] in UPLOADS else MAX_BODY
        body = _BoundedBody(receive, most)
        headers = Headers(scope=scope)
        length = headers.get("content-length", "")
        try:
            if length.isdigit() and int(length) > most:
                if "expect" not in headers:  # such a client waits for our word before it sends
                    await body.drain()
                response = problems.of_status(413).response(request_id=identity)
                await response(scope, receive, send_with_headers)
            elif (fault := text_fault("path", scope["path"])) is not None:
                invalid = Invalid("There can be nothing at this address.", [fault])
                response = problems.of_error(invalid).response(request_id=identity)
                await response(scope, receive, send_with_headers)
            else:
                await self.app(scope, body, send_with_headers)
        except Exception:
            _LOG.exception("defect while answering %s %s", scope["method"], scope["path"])
            if started:
                raise
            response = problems.unexpected().response(request_id=identity)
            await response(scope, receive, send_with_headers)


def _method(scope: Scope) -> str:
    # A method is whatever the client writes; a label for each would fill the memory.
    return scope["method"] if scope["method"] in _METHODS else "other"


class _BoundedBody:
    """A request's ``receive`` that refuses to hand on more than so many bytes."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self._most = most
        self._size = 0

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._size += len(message.get("body", b""))
            if self._size > self._most:
                if message.get("more_body", False):
                    await self.drain()
                raise HTTPException(413)
        return message

    async def drain(self) -> None:
        size = 0
        try:
            async with asyncio.timeout(_DRAIN_SECONDS):
                while size <= _DRAIN_BYTES:
                    message = await self._receive()
                    size += len(message.get("body", b""))
                    if message["type"] != "http.request" or not message.get("more_body", False):
                        return
        except TimeoutError:
            return
