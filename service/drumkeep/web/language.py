"""Which language a page is in."""

from typing import Final

from fastapi import Request, Response

from drumkeep.asgi.authentication import Caller
from drumkeep.language.tongue import LANGUAGES, preferred

_COOKIE: Final = "language"
_YEAR_S: Final = 365 * 86_400


def language_of(request: Request, caller: Caller | None = None) -> str:
    """Return the language that a person chose, else the one that the browser asks for.

    Chosen with the account; or, where nobody is known yet, on the page for signing in, which
    leaves it in a cookie. It is kept with the request, for the page of a problem, which nobody
    tells whose it is.
    """
    if not hasattr(request.state, "language"):
        chosen = "" if caller is None else caller.language
        request.state.language = (
            chosen
            or asked_for(request)
            or _known(request.cookies.get(_COOKIE))
            or preferred(request.headers.get("accept-language", ""))
        )
    return str(request.state.language)


def remember(request: Request, response: Response, *, language: str) -> None:
    """Leave a chosen language with the browser, for pages that do not know who looks."""
    if language and request.cookies.get(_COOKIE) != language:
        response.set_cookie(_COOKIE, language, max_age=_YEAR_S, httponly=True, samesite="lax")


def forget(response: Response) -> None:
    """Have the browser's language count again, or the next person's."""
    response.delete_cookie(_COOKIE, httponly=True, samesite="lax")


def asked_for(request: Request) -> str:
    """Return the language that the address itself asks for; empty if it asks for none."""
    return _known(request.query_params.get(_COOKIE))


def _known(code: str | None) -> str:
    return code if code and code in LANGUAGES else ""
