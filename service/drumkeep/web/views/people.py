"""People and their devices as the pages show them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from markupsafe import Markup

from drumkeep.asgi.authentication import Caller
from drumkeep.operations import sessions
from drumkeep.storage import accounts as rows
from drumkeep.storage.tables.accounts import Account, PhonePass, SignedIn
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.qr import drawn

_MOST: Final = 1000

_KINDS: Final = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Android": "Android phone",
    "Windows": "Windows computer",
    "Macintosh": "Mac",
    "CrOS": "Chromebook",
    "Linux": "Linux computer",
}
"""Words in what a browser says of itself, the more telling first, and what we call them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceLine:
    """A device that somebody is signed in on; ``here`` is the one that asks."""

    handle: str
    words: str
    address: str
    since: datetime
    until: datetime
    here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonLine:
    """Somebody who may sign in, or might; ``language`` is empty where nobody chose one."""

    name: str
    display_name: str
    role: str
    language: str
    disabled_at: datetime | None
    devices: Sequence[DeviceLine]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneCode:
    """A code just made: what a camera reads, the same to type, and how long it holds."""

    person: str
    picture: Markup
    address: str
    until: datetime


def person_lines(tx: Tx, *, caller: Caller, now: datetime) -> list[PersonLine]:
    """Return everybody, those who may sign in first."""
    accounts = rows.list_accounts(tx, limit=_MOST)
    held: dict[int, list[SignedIn]] = defaultdict(list)
    for session in sessions.sessions_of(tx, account_ids=[a.id for a in accounts], now=now):
        held[session.account_id].append(session)
    ordered = sorted(accounts, key=lambda a: (a.disabled_at is not None, a.display_name.lower()))
    return [
        PersonLine(
            name=account.name,
            display_name=account.display_name,
            role=account.role,
            language=account.language,
            disabled_at=account.disabled_at,
            devices=_devices(held[account.id], caller=caller),
        )
        for account in ordered
    ]


def own_devices(tx: Tx, *, caller: Caller, now: datetime) -> list[DeviceLine]:
    """Return where the asker is signed in."""
    if caller.account_id is None:
        return []
    held = sessions.sessions_of(tx, account_ids=[caller.account_id], now=now)
    return _devices(held, caller=caller)


def phone_code(
    account: Account, *, made: PhonePass, secret: str, address: str, formats: Formats
) -> PhoneCode:
    """Return a code as the page shows it."""
    link = f"{address}/sign-in/once/{secret}"
    title = formats.words("Signs a phone in as {person}", person=account.display_name)
    return PhoneCode(
        person=account.display_name,
        picture=Markup(drawn(link, title=title)),  # noqa: S704 - drawn by segno, title escaped
        address=link,
        until=made.expires_at,
    )


def _devices(held: Sequence[SignedIn], *, caller: Caller) -> list[DeviceLine]:
    return [
        DeviceLine(
            handle=sessions.handle_of(session),
            words=device_words(session.user_agent),
            address=session.address,
            since=session.created_at,
            until=session.expires_at,
            here=session.id == caller.session_id,
        )
        for session in held
    ]


def device_words(user_agent: str) -> str:
    """Return what people call the kind of device that says this of itself."""
    return next((words for mark, words in _KINDS.items() if mark in user_agent), "A program")
