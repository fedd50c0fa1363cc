"""Bodies that are CSV files."""

from typing import Final

from fastapi import Request, Response

from drumkeep.asgi.problems import Problem

_CSV: Final = "text/csv"
_WRONG_KIND: Final = Problem(
    "media-type", f"The body is of the wrong kind. Send it as {_CSV}.", 415
)


def refusal_of_kind(request: Request) -> Response | None:
    """Return the answer to a body that does not say that it is CSV; None if it does."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return None if kind == _CSV else _WRONG_KIND.response(request_id=request.state.request_id)
