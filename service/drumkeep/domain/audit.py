"""Who did what from where, as it is kept: the doer, what changed, and what a deed is called."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Final, Literal

Verb = Literal["made", "changed", "removed"]
Change = tuple[object, object]
"""A field's value before and after."""


class Way(StrEnum):
    """By which way in something was done."""

    PAGE = "page"
    API = "api"
    COMMAND = "command"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doer:
    """Who is doing something, and from where.

    Attributes
    ----------
    at
        When, UTC.
    deed
        Names what is done in one go, so that its entries are found together.
    name
        Sign-in name of the account, name of the token, or who runs the command.
    role
        As what; empty if nobody has signed in.
    way
        By which way in.
    account_id, token_id
        The account; the token, which may be an account's own.
    session
        What names the session to people.
    device
        What the program calls itself.
    address
        From where, as far as the proxies before us are trusted.
    """

    at: datetime
    deed: str
    name: str
    role: str = ""
    way: Way
    account_id: int | None = None
    token_id: int | None = None
    session: str | None = None
    device: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One row that was made, changed or removed: of which table, and its fields."""

    of: str
    verb: Verb
    fields: Mapping[str, Change] = field(default_factory=dict)


_DEEDS: Final[Mapping[tuple[str, Verb], str]] = {
    ("session", "made"): "signed in",
    ("session", "changed"): "ended a session",
    ("phone_pass", "made"): "made a phone code",
    ("phone_pass", "changed"): "used up a phone code",
    ("label_print", "made"): "printed a label",
    ("mount", "made"): "mounted",
    ("calibration", "made"): "calibrated",
    ("gateway_credential", "made"): "gave a password",
    ("gateway_credential", "changed"): "changed a password",
    ("external_identity", "made"): "linked a company sign-in",
    ("external_identity", "removed"): "unlinked a company sign-in",
}

_FIELDS: Final[Mapping[tuple[str, str], str]] = {
    ("account", "password_hash"): "set a password",
    ("account", "role"): "changed a role",
    ("token", "revoked_at"): "revoked",
    ("alarm", "acknowledged_at"): "acknowledged",
    ("alarm", "shelved_until"): "shelved",
}


def deed(parts: Sequence[Part]) -> str:
    """Name what was done to one thing, by the most telling of what changed."""
    for part in parts:
        if part.of == "drum_event" and part.verb == "made":
            return str(part.fields["kind"][1])
    for part in parts:
        if part.verb != "changed":
            continue
        if part.of == "account" and "disabled_at" in part.fields:
            return "let in again" if part.fields["disabled_at"][1] is None else "let in no more"
        for name in part.fields:
            if (part.of, name) in _FIELDS:
                return _FIELDS[part.of, name]
    for part in parts:
        if (part.of, part.verb) in _DEEDS:
            return _DEEDS[part.of, part.verb]
    return parts[0].verb


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditQuery:
    """Which entries are wanted; what is None or empty does not matter.

    Attributes
    ----------
    who
        Sign-in name of an account, or name of a token.
    did
        What it is called, or a part of that.
    thing
        A tag, lot, place, account, … or a part of its name.
    whole
        Whether ``thing`` is its whole name, which is found at once.
    text
        Anything that stands in an entry.
    since, until
        From when till when; ``until`` is exclusive.
    """

    who: str = ""
    did: str = ""
    thing: str = ""
    whole: bool = False
    text: str = ""
    since: datetime | None = None
    until: datetime | None = None
