"""Which language a page is in."""

from fastapi import Request

from drumkeep.asgi.authentication import Caller
from drumkeep.language.tongue import preferred


def language_of(request: Request, caller: Caller | None = None) -> str:
    """Return the language that a person chose, else the one that the browser asks for.

    It is kept with the request, for the page of a problem, which nobody tells whose it is.
    """
    if not hasattr(request.state, "language"):
        chosen = "" if caller is None else caller.language
        request.state.language = chosen or preferred(request.headers.get("accept-language", ""))
    return str(request.state.language)
