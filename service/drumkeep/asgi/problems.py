"""What went wrong, as ``application/problem+json`` (RFC 9457): one form for every answer.

``{"type": "urn:drumkeep:problem:<kind>", "title": …, "status": …, "detail": …, "errors":
[{"field", "value", "problem", "mend"}, …], "request": <id for the log>}``
"""

import json
import logging
import math
import reprlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from drumkeep.asgi.faults import validation_faults
from drumkeep.errors import (
    Conflict,
    DrumkeepError,
    Fault,
    Invalid,
    NotFound,
    Refused,
    Unauthenticated,
    Unavailable,
)

MEDIA_TYPE: Final = "application/problem+json"
_LOG: Final = logging.getLogger(__name__)
_LONGEST_TEXT: Final = 200
_SAFE_INTEGER: Final = 2**53
_BEYOND: Final = frozenset({"less_than_equal", "greater_than_equal", "int_parsing_size"})
"""Types of validation errors of a number that is out of bounds."""


class TooOften(DrumkeepError):
    """The same thing was tried too many times; ``retry_s`` says how many seconds to wait."""

    def __init__(self, title: str, *, retry_s: int) -> None:
        super().__init__(title)
        self.retry_s = retry_s


KINDS: Final[dict[type[DrumkeepError], tuple[str, HTTPStatus]]] = {
    Invalid: ("invalid", HTTPStatus.UNPROCESSABLE_ENTITY),
    NotFound: ("not-found", HTTPStatus.NOT_FOUND),
    Conflict: ("conflict", HTTPStatus.CONFLICT),
    Refused: ("refused", HTTPStatus.FORBIDDEN),
    Unauthenticated: ("unauthenticated", HTTPStatus.UNAUTHORIZED),
    Unavailable: ("unavailable", HTTPStatus.SERVICE_UNAVAILABLE),
    TooOften: ("too-often", HTTPStatus.TOO_MANY_REQUESTS),
}

# What the server itself refuses, before any of our code has seen it.
_BY_STATUS: Final = {
    400: ("unreadable", "The request cannot be read. Send JSON (RFC 8259) in UTF-8."),
    404: ("not-found", "There is nothing at this address. See /openapi.json for what there is."),
    405: ("method", "This address does not take that method."),
    413: ("too-large", "The request is too large. Send at most 1 MiB, in several requests."),
    415: ("media-type", "The body is of the wrong kind. Send it as application/json."),
}


@dataclass(frozen=True)
class Problem:
    """One problem, ready to be shown as JSON or as a page."""

    kind: str
    title: str
    status: int
    faults: Sequence[Fault] = ()
    headers: dict[str, str] = field(default_factory=dict)

    def body(self, *, request_id: str | None = None) -> bytes:
        """Render it as JSON in ASCII, whatever the values are."""
        content: dict[str, Any] = {
            "type": f"urn:drumkeep:problem:{self.kind}",
            "title": self.title,
            "status": self.status,
        }
        if self.faults:
            content["detail"] = " ".join(_sentence(fault) for fault in self.faults[:3])
            content["errors"] = [
                {"field": f.field, "value": shown(f.value), "problem": f.problem, "mend": f.mend}
                for f in self.faults
            ]
        if request_id is not None:
            content["request"] = request_id
        return json.dumps(content, ensure_ascii=True, allow_nan=False).encode("ascii")

    def response(self, *, request_id: str | None = None) -> Response:
        """Render it as an answer."""
        return Response(
            self.body(request_id=request_id),
            status_code=self.status,
            headers=self.headers,
            media_type=MEDIA_TYPE,
        )


Page = Callable[[Request, Problem], Response | None]
"""Shows a problem to a person; None leaves it to the JSON."""


def shown(value: object) -> object:
    """Return a value as it may stand in an answer: short, finite, and plain JSON."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int):
        return value if abs(value) <= _SAFE_INTEGER else _short(reprlib.repr(value))
    if isinstance(value, float):
        return value if math.isfinite(value) else repr(value)
    return _short(value if isinstance(value, str) else reprlib.repr(value))


def of_error(error: DrumkeepError) -> Problem:
    """Say an error of ours."""
    kind, status = next(KINDS[k] for k in type(error).__mro__ if k in KINDS)
    headers = {}
    if isinstance(error, TooOften):
        headers["Retry-After"] = str(error.retry_s)
    elif status is HTTPStatus.UNAUTHORIZED:
        headers["WWW-Authenticate"] = "Bearer"
    elif status is HTTPStatus.SERVICE_UNAVAILABLE:
        headers["Retry-After"] = "5"
    return Problem(kind, error.title, int(status), error.faults, headers)


def of_status(status: int, *, headers: dict[str, str] | None = None) -> Problem:
    """Say a refusal of the server itself."""
    kind, title = _BY_STATUS.get(status, ("other", HTTPStatus(status).phrase))
    return Problem(kind, title, status, headers=headers or {})


def unexpected() -> Problem:
    """Say that there is a defect, and nothing of what it is: that stands in the log."""
    return Problem(
        "defect",
        "Something is wrong in drumkeep itself. The log tells more under the request's id.",
        int(HTTPStatus.INTERNAL_SERVER_ERROR),
    )


def install(app: FastAPI, *, page: Page | None = None) -> None:
    """Have the app answer every foreseen error with a problem.

    Parameters
    ----------
    app
        The app.
    page
        How to show a problem at addresses meant for people.
    """

    def answer(request: Request, problem: Problem) -> Response:
        if page is not None and (shown_page := page(request, problem)) is not None:
            return shown_page
        return problem.response(request_id=getattr(request.state, "request_id", None))

    def drumkeep_error(request: Request, error: Exception) -> Response:
        assert isinstance(error, DrumkeepError)  # noqa: S101 - registered for it below
        if isinstance(error, Unavailable):
            _LOG.warning("unavailable: %s", error.__cause__ or error)
        return answer(request, of_error(error))

    def validation(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for it below
        if any(_names_nothing(found) for found in error.errors()):
            return answer(request, of_status(HTTPStatus.NOT_FOUND))
        invalid = Invalid("The request cannot be used as it is.", validation_faults(error))
        return answer(request, of_error(invalid))

    def status(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)  # noqa: S101 - registered for it below
        return answer(request, of_status(error.status_code, headers=dict(error.headers or {})))

    app.add_exception_handler(DrumkeepError, drumkeep_error)
    app.add_exception_handler(RequestValidationError, validation)
    app.add_exception_handler(HTTPException, status)


def _names_nothing(found: Mapping[str, Any]) -> bool:
    """Whether an address has a number that nothing ever bears (``asgi.fields.RowId``)."""
    return found["loc"][0] == "path" and found["type"] in _BEYOND


def _short(text: str) -> str:
    plain = text.encode("utf-8", "backslashreplace").decode()
    return plain if len(plain) <= _LONGEST_TEXT else f"{plain[:_LONGEST_TEXT]}…"


def _sentence(fault: Fault) -> str:
    value = shown(fault.value)
    named = fault.field or "The request"
    return f"{named}{'' if value is None else f' {value!r}'} {fault.problem}. {fault.mend}"
