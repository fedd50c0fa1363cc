"""Which language a page is in."""

from fastapi import Request

from drumkeep.asgi.authentication import Caller
from drumkeep.language.tongue import preferred


def language_of(request: Request, caller: Caller | None = None) -> str:
    """Return the language that a person chose, else the one that the browser asks for."""
    chosen = "" if caller is None else caller.language
    return chosen or preferred(request.headers.get("accept-language", ""))
