"""Sends one notice to one address through Apprise; blocks until it is taken or refused.

What Apprise logs may hold parts of an address, so it is never passed on: it is listened to, and
told in words of ours.
"""

import logging
import re
import socket
import threading
import warnings
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from drumkeep.domain.alarms import Priority
from drumkeep.domain.notices import Channel
from drumkeep.errors import Fault
from drumkeep.notify.notice_addresses import (
    CHANNELS,
    FIELD,
    is_forbidden,
    is_own,
    machines_of,
    scheme_of,
)

if TYPE_CHECKING:
    from apprise.plugins.base import NotifyBase

CONNECTED_WITHIN_S: Final = 4.0
ANSWERED_WITHIN_S: Final = 8.0
"""Of one answer; a mail server has some eight to give, each of which may take so long."""

NO_ANSWER: Final = "it did not answer in time"
"""The one reason after which it may have taken the notice all the same."""

_LOG: Final = logging.getLogger("apprise")
_IMPORTING: Final = threading.Lock()

_HEARD: Final = (
    (r"timed? ?out", NO_ANSWER),
    (r"refused", "it refused the connection"),
    (r"name or service not known|name resolution|getaddrinfo|resolve", "its name is not known"),
    (r"certificate|ssl", "its certificate is not to be trusted"),
    (r"authent|error=40[13]|\b535\b", "it did not accept the password or key"),
    (r"error=404", "there is nothing at that address (404)"),
    (r"error=429", "it has had too many messages (429)"),
    (r"error=(?P<code>\d{3})", "it answered with error {code}"),
    (r"unreachable|no route", "it cannot be reached"),
    (r"reset|closed|disconnected|aborted", "it broke off the connection"),
)
"""What Apprise says when something goes wrong, and what we make of it; the first that fits."""

_OTHERWISE: Final = "it was not taken"


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """One notice, ready to go.

    ``key`` goes with it, the same at every try that says the same, so that whoever gets it twice
    can tell; ``trusted`` says that a manager entered the address.
    """

    notice_id: str
    key: str
    tries: int
    url: str = field(repr=False)
    title: str
    body: str
    priority: Priority
    over: bool
    trusted: bool


def unreadable(url: str) -> list[Fault]:
    """Return what is wrong with an address of a known scheme in Apprise's eyes."""
    scheme = scheme_of(url)
    plugin = _plugin(url)
    value = f"{scheme}://…"
    if plugin is None:
        mend = f"Look up {scheme}:// in Apprise's documentation for what must stand in it."
        return [Fault(FIELD, value, f"cannot be read as an address of {scheme}", mend)]
    if len(plugin) > 1:
        mend = "Name one recipient; make an address of its own for each other."
        return [Fault(FIELD, value, f"leads to {len(plugin)} recipients", mend)]
    return []


def send(letter: Letter) -> str | None:
    """Send a notice.

    Returns
    -------
    str or None
        None when it was taken, else why not, in words that hold nothing of the address.
    """
    reason = _guarded(letter)
    if reason is not None:
        return reason
    plugin = _plugin(letter.url)
    if plugin is None:
        return "its address cannot be read"
    _mark(plugin, letter.key)
    with _listening() as heard:
        try:
            taken = bool(
                plugin.notify(
                    title=letter.title,
                    body=letter.body,
                    body_format=_apprise().NotifyFormat.TEXT,
                    notify_type=_type(letter),
                )
            )
        except Exception as error:  # noqa: BLE001 - some hundred plugins of others
            heard.append(type(error).__name__)
            taken = False
    return None if taken else _reason(heard)


def _guarded(letter: Letter) -> str | None:
    """Return why the machine that an address leads to today may not be spoken to."""
    for machine in machines_of(letter.url):
        try:
            found = {str(info[4][0]) for info in socket.getaddrinfo(machine, None)}
        except OSError:
            continue  # a service's own token stands where a machine would: Apprise knows better
        if any(is_forbidden(address) for address in found):
            return "it leads to a machine that nobody may name"
        if not letter.trusted and any(is_own(address) for address in found):
            return "it leads into the own network, which only a manager may name"
    return None


def _apprise() -> Any:  # noqa: ANN401 - the module
    """Return Apprise, which is imported once and with the first notice."""
    with _IMPORTING:
        return _imported()


@cache
def _imported() -> Any:  # noqa: ANN401 - the module
    """Import Apprise and its plugins: a third of a second and 35 MB."""
    with warnings.catch_warnings():
        # some plugin's library is of before what it uses was deprecated
        warnings.simplefilter("ignore", DeprecationWarning)
        import apprise  # noqa: PLC0415

        apprise.Apprise.instantiate("json://localhost")
    _LOG.propagate = False
    _LOG.setLevel(logging.DEBUG)
    _LOG.addHandler(_EARS)
    # it would tell the paths of webhooks, and nothing else in the service uses it
    logging.getLogger("urllib3").setLevel(logging.ERROR)
    return apprise


def _plugin(url: str) -> "NotifyBase | None":
    apprise = _apprise()
    asset = apprise.AppriseAsset(
        app_id="drumkeep", app_desc="drumkeep", app_url="", http_redirects=False, async_mode=False
    )
    plugin = apprise.Apprise.instantiate(url, asset=asset, suppress_exceptions=True)
    if plugin is None:
        return None
    # whatever the address says: we try again ourselves, and wait no longer than this
    plugin.retry, plugin.redirects = 0, False
    mail = CHANNELS.get(scheme_of(url) or "") is Channel.MAIL  # has the one for both
    if mail:
        plugin.notify_format = apprise.NotifyFormat.TEXT
    plugin.socket_connect_timeout = ANSWERED_WITHIN_S if mail else CONNECTED_WITHIN_S
    plugin.socket_read_timeout = ANSWERED_WITHIN_S
    found: NotifyBase = plugin
    return found


def _mark(plugin: "NotifyBase", key: str) -> None:
    """Send the notice's key along where there is room for it: in headers of mail and webhooks."""
    headers = getattr(plugin, "headers", None)
    if isinstance(headers, dict):
        headers["Idempotency-Key"] = key


def _type(letter: Letter) -> Any:  # noqa: ANN401 - Apprise's enumeration
    types = _apprise().NotifyType
    if letter.over:
        return types.SUCCESS
    return types.FAILURE if letter.priority is Priority.CRITICAL else types.WARNING


def _reason(heard: list[str]) -> str:
    text = "\n".join(heard)
    for pattern, words in _HEARD:
        found = re.search(pattern, text, re.IGNORECASE)
        if found is not None:
            return words.format(**found.groupdict())
    return _OTHERWISE


class _Ears(logging.Handler):
    """Keeps what this thread's sending logs, and nothing of other threads."""

    def __init__(self) -> None:
        super().__init__()
        self.heard = threading.local()

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one line."""
        lines = getattr(self.heard, "lines", None)
        if lines is not None:
            lines.append(record.getMessage())


_EARS: Final = _Ears()


class _listening:  # noqa: N801 - reads as a verb where it is used
    """Collect what is logged by this thread."""

    def __enter__(self) -> list[str]:
        lines: list[str] = []
        _EARS.heard.lines = lines
        return lines

    def __exit__(self, *_: object) -> None:
        del _EARS.heard.lines
