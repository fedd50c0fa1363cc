"""Who is asking: signed session cookies, bearer tokens, and protection of both.

The cookie carries a random session id, signed, http-only and SameSite=Lax; what it stands for is
in the database, so ending a session ends it at once. A page of another site can neither read the
cookie nor know the CSRF token that goes with it.
"""

import hashlib
import hmac
from collections import OrderedDict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final
from urllib.parse import urlsplit

from itsdangerous import BadSignature, Signer
from starlette.requests import Request
from starlette.responses import Response

from drumkeep.asgi.problems import TooOften
from drumkeep.domain.roles import ALL_SCOPES, Role, Scope
from drumkeep.errors import Refused

COOKIE: Final = "drumkeep_session"
WROTE: Final = "drumkeep_wrote"
"""Cookie of whoever changed something a moment ago, and must see it."""
CSRF_HEADER: Final = "X-CSRF-Token"
CSRF_FIELD: Final = "csrf"
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_BAR: Final = "|"
"""Between the parts of what is signed; no sign-in name has one."""


@dataclass(frozen=True)
class Caller:
    """Who is asking.

    Attributes
    ----------
    name
        Sign-in name of the account, or name of the token.
    role
        What they are here for.
    account_id
        The account; None for a token.
    session_id
        The session; None for a token.
    display_name
        As people call them.
    units
        ``us`` (°F, lb) or ``si`` (°C, kg).
    language
        ISO 639-1 code; empty for what the browser asks for.
    token_id
        The token; None for a session.
    owner_id
        Whose own token it is, if anybody's.
    scopes
        What a token is good for; a session for everything that the role may.
    """

    name: str
    role: Role
    account_id: int | None = None
    session_id: str | None = None
    display_name: str = ""
    units: str = "us"
    language: str = ""
    token_id: int | None = None
    owner_id: int | None = None
    scopes: frozenset[Scope] = ALL_SCOPES


@dataclass(frozen=True)
class Seals:
    """Signs cookies, and derives the CSRF token of a session.

    Parameters
    ----------
    secret
        At least 32 random bytes, as text; whoever has it can make cookies.
    """

    secret: str = field(repr=False)

    def seal(self, session_id: str) -> str:
        """Return the cookie's value for a session."""
        return self._signer("session").sign(session_id).decode("ascii")

    def unseal(self, cookie: str) -> str | None:
        """Return the session id of a cookie; None if we did not sign it."""
        try:
            return self._signer("session").unsign(cookie).decode("utf-8")
        except (BadSignature, UnicodeError):
            return None

    def csrf(self, session_id: str) -> str:
        """Return the token that unsafe requests of this session must repeat."""
        return self._signer("csrf").get_signature(session_id.encode()).decode("ascii")

    def chit(self, name: str, *, password_hash: str, until: datetime) -> str:
        """Return what shows that somebody has just given this account's temporary password."""
        words = f"{name}{_BAR}{int(until.timestamp())}"
        return self._signer(f"chit {password_hash}").sign(words).decode("ascii")

    def chit_holds(self, chit: str, *, password_hash: str, now: datetime) -> bool:
        """Whether we wrote this chit, for the password that still is, and not too long ago."""
        try:
            words = self._signer(f"chit {password_hash}").unsign(chit).decode("ascii")
        except (BadSignature, UnicodeError):
            return False
        return int(words.rpartition(_BAR)[2]) > now.timestamp()

    def _signer(self, salt: str) -> Signer:
        return Signer(self.secret, salt=f"drumkeep.{salt}", digest_method=hashlib.sha256)


def name_on(chit: str) -> str:
    """Return whose name a chit bears, which anybody may have written there."""
    return chit.partition(_BAR)[0]


def set_cookie(response: Response, *, value: str, lifetime: timedelta, secure: bool) -> None:
    """Have the browser keep the session's cookie, out of reach of scripts and other sites."""
    response.set_cookie(
        COOKIE,
        value,
        max_age=int(lifetime.total_seconds()),
        path="/",
        secure=secure,
        httponly=True,
        samesite="lax",
    )


def clear_cookie(response: Response) -> None:
    """Have the browser forget the session's cookie."""
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="lax")


def refuse_other_sites(request: Request) -> None:
    """Refuse a request that a browser sent from a page of another site.

    Programs send no ``Origin`` and are let through; the session's CSRF token, where there is a
    session, is checked besides.

    Raises
    ------
    Refused
        The origin is not this server.
    """
    origin = request.headers.get("origin")
    if origin is None:
        return
    if urlsplit(origin).netloc != request.headers.get("host", ""):
        raise Refused("The request came from a page of another site.")


async def check_csrf(request: Request, *, expected: str) -> None:
    """Check the CSRF token of a request: header ``X-CSRF-Token``, or form field ``csrf``.

    Raises
    ------
    Refused
        There is none, or it is not this session's.
    """
    given = request.headers.get(CSRF_HEADER)
    if given is None and _is_form(request):
        found = (await request.form()).get(CSRF_FIELD)
        given = found if isinstance(found, str) else None
    if given is None or not hmac.compare_digest(given.encode(), expected.encode()):
        raise Refused(
            "The form is out of date or the header X-CSRF-Token is wrong. Load the page again; "
            "programs take the token from GET /api/v1/session."
        )


def _is_form(request: Request) -> bool:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return kind in {"application/x-www-form-urlencoded", "multipart/form-data"}


@dataclass
class Throttle:
    """Slows down guessing: so many failures in so long, and it is closed until they are old.

    Kept in memory, at most ``remembered`` keys; the oldest go first. A restart forgets them, which
    costs an attacker more than it gives.
    """

    failures: int = 5
    window: timedelta = timedelta(minutes=5)
    remembered: int = 10_000
    _failed: OrderedDict[str, list[datetime]] = field(default_factory=OrderedDict, repr=False)

    def check(self, key: str, *, now: datetime) -> None:
        """Refuse if this key has failed too often lately.

        Raises
        ------
        TooOften
            With the seconds until the next try.
        """
        recent = self._recent(key, now=now)
        if len(recent) >= self.failures:
            wait = recent[-self.failures] + self.window - now
            seconds = max(1, int(wait.total_seconds()) + 1)
            raise TooOften(
                f"Too many wrong passwords. Try again in {seconds} seconds.", retry_s=seconds
            )

    def failed(self, key: str, *, now: datetime) -> None:
        """Note a failure."""
        self._failed[key] = [*self._recent(key, now=now), now]
        self._failed.move_to_end(key)
        while len(self._failed) > self.remembered:
            self._failed.popitem(last=False)

    def succeeded(self, key: str) -> None:
        """Forget the failures of a key."""
        self._failed.pop(key, None)

    def _recent(self, key: str, *, now: datetime) -> list[datetime]:
        return [at for at in self._failed.get(key, []) if now - at < self.window]
