"""What an answer says when something is wrong (RFC 9457)."""

from typing import Any, Final

from drumkeep.asgi.fields import Answer
from drumkeep.asgi.problems import MEDIA_TYPE


class FaultOut(Answer):
    """One thing wrong: which field, with which value, what about it, and how to mend it."""

    field: str
    value: Any
    problem: str
    mend: str


class ProblemOut(Answer):
    """What went wrong."""

    type: str
    title: str
    status: int
    detail: str | None = None
    errors: list[FaultOut] | None = None
    request: str | None = None


_CONTENT: Final = {MEDIA_TYPE: {"schema": ProblemOut.model_json_schema()}}

PROBLEMS: Final[dict[int | str, dict[str, Any]]] = {
    422: {"description": "The request cannot be used as it is.", "content": _CONTENT},
    "4XX": {"description": "The request is refused.", "content": _CONTENT},
    "5XX": {"description": "Not now.", "content": _CONTENT},
}
