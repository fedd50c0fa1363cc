"""What every page needs of a request: who looks, in which units, and how to answer."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Annotated, cast
from urllib.parse import quote

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from drumkeep.asgi.authentication import SAFE_METHODS, Caller
from drumkeep.asgi.dependencies import CurrentAccount, Now, services
from drumkeep.asgi.sign_in import SignedIn
from drumkeep.errors import Refused
from drumkeep.operations.jobs_health import LASTS, jobs_health
from drumkeep.storage import alarms, catalogue, room
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.language import asked_for, language_of, remember
from drumkeep.web.templating import render
from drumkeep.web.view_models import Units, Viewer


@dataclass(frozen=True)
class Shell:
    """One request of a signed-in person."""

    request: Request
    caller: Caller
    now: datetime
    language: str

    @property
    def formats(self) -> Formats:
        """The person's units and language; times in UTC until a site is known.

        For what is of no one site: :meth:`everywhere`.
        """
        return Formats(
            units=cast("Units", self.caller.units),
            timezone=UTC,
            now=self.now,
            language=self.language,
        )

    def everywhere(self, tx: Tx) -> Formats:
        """Return the formats of what is of no one site, or of many: times in the zone of all.

        Where sites lie in more than one zone, each time is followed by its zone, which is UTC
        until a site is known.
        """
        zones = catalogue.zones(tx)
        if len(zones) == 1:
            return self.formats.at(zones[0])
        return replace(self.formats, named=True)

    @property
    def viewer(self) -> Viewer:
        """The person as the pages show them."""
        session_id = self.caller.session_id
        csrf = "" if session_id is None else services(self.request).seals.csrf(session_id)
        return Viewer(
            display_name=self.caller.display_name or self.caller.name,
            role=self.caller.role.value,
            units=cast("Units", self.caller.units),
            csrf=csrf,
        )

    @property
    def here(self) -> str:
        """Path and query of the page, to come back to."""
        url = self.request.url
        return url.path + (f"?{url.query}" if url.query else "")

    def answer(
        self,
        name: str,
        *,
        tx: Tx,
        page: str = "",
        formats: Formats | None = None,
        **context: object,
    ) -> HTMLResponse:
        """Render a page for this person.

        Parameters
        ----------
        name
            Template.
        tx
            For the count of alarms in the navigation.
        page
            Which entry of the navigation it is.
        formats
            With the site's zone, where the page is about one site; else those of no one site.
        context
            What the template lists.
        """
        used = formats or self.everywhere(tx)
        answer = in_language(
            used.language,
            render(
                name,
                viewer=self.viewer,
                formats=used,
                nonce=self.request.state.nonce,
                page=page,
                alarm_count=alarms.count_waiting(tx) or None,
                here=self.here,
                jobs=jobs_health(tx, now=self.now, lasting=LASTS),
                disk_full=room.is_full(services(self.request).database.engine),
                **context,
            ),
        )
        remember(self.request, answer, language=self.caller.language)
        return answer


def shell(request: Request, caller: CurrentAccount, now: Now) -> Shell:
    """Return the request of a signed-in person; a token may read pages, and post no forms.

    Raises
    ------
    Refused
        A form was posted with a token: it carries no proof that a page of ours was its source.
    """
    if caller.session_id is None and request.method not in SAFE_METHODS:
        raise Refused("Forms are for people who have signed in; programs use /api/v1.")
    return Shell(request=request, caller=caller, now=now, language=language_of(request, caller))


ShellDep = Annotated[Shell, Depends(shell)]


def answer_anybody(
    request: Request, name: str, /, *, language: str = "", status: int = 200, **context: object
) -> HTMLResponse:
    """Render a page that is the same for everybody, signed in or not, but for its language.

    Parameters
    ----------
    request
        Of a person who was refused a page, or has not signed in: it then has no token, and forms
        are known by the request's origin.
    name
        Template.
    language
        ISO 639-1 code; empty for the reader's.
    status
        Of the answer.
    context
        What the template lists.
    """
    formats = Formats(
        units="us",
        timezone=UTC,
        now=datetime.fromtimestamp(0, tz=UTC),
        language=language or language_of(request),
    )
    nonce = getattr(request.state, "nonce", "")
    html = render(name, formats=formats, nonce=nonce, **context)
    answer = in_language(formats.language, html)
    remember(request, answer, language=asked_for(request))
    answer.status_code = status
    return answer


def in_language(language: str, html: str) -> HTMLResponse:
    """Return a page that says in its header too in which language it is (RFC 9110, 8.5).

    A phone that keeps pages for later keeps them in the language of whoever reads them.
    """
    return HTMLResponse(html, headers={"Content-Language": language})


def safe_next(text: str, *, otherwise: str = "/floor") -> str:
    """Return an address of ours to go on to; anything that leads elsewhere is not taken."""
    local = text.startswith("/") and not text.startswith(("//", "/\\")) and "\\" not in text
    plain = all(32 < ord(symbol) < 127 for symbol in text)  # noqa: PLR2004 - visible ASCII
    return text if local and plain else otherwise


def see(address: str) -> RedirectResponse:
    """Send the browser to a page after a form."""
    return RedirectResponse(address, status_code=303)


def go_on(signed_in: SignedIn, address: str) -> RedirectResponse:
    """Send a browser on in the session that has just begun."""
    response = see(address)
    signed_in.keep(response)
    return response


def sign_in_first(request: Request) -> RedirectResponse:
    """Send a person who is not signed in to do so, and back."""
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    back = here if request.method == "GET" else "/floor"
    return see(f"/sign-in?next={quote(back, safe='')}")
