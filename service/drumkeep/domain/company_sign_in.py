"""Who an OpenID provider says somebody is, and what that makes them here."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from drumkeep.domain.checks import CODE_LENGTH, NAME_LENGTH
from drumkeep.domain.roles import Role

_HIGHEST_FIRST: Final = (Role.MANAGER, Role.DISPATCHER, Role.CREW, Role.VIEWER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Somebody at a provider; ``email`` only where the provider has verified it."""

    issuer: str
    subject: str
    email: str | None
    username: str
    display_name: str
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Admission:
    """Whom a provider may send.

    Attributes
    ----------
    domains
        Of e-mail addresses; none: of any, or without one.
    unknown
        As what somebody is let in who has no account yet; None: not at all.
    roles
        Our role by the provider's word; empty: roles are given here.
    """

    domains: frozenset[str] = frozenset()
    unknown: Role | None = None
    roles: Mapping[str, Role] = field(default_factory=dict)


def is_from(identity: Identity, *, domains: frozenset[str]) -> bool:
    """Whether somebody's verified address is of one of the domains; of any if there are none."""
    if not domains:
        return True
    return identity.email is not None and identity.email.rpartition("@")[2] in domains


def role_at(identity: Identity, *, admission: Admission) -> Role | None:
    """Return the highest role that the provider's words give; None if they give none."""
    given = {admission.roles[word] for word in identity.roles if word in admission.roles}
    return next((role for role in _HIGHEST_FIRST if role in given), None)


def account_name(identity: Identity) -> str:
    """Return what a new account signs in as, from what the provider calls the person."""
    called = identity.username or (identity.email or "")
    plain = unicodedata.normalize("NFKD", called.partition("@")[0]).encode("ascii", "ignore")
    code = re.sub(r"[^a-z0-9]+", "-", plain.decode().lower()).strip("-")
    return code[: CODE_LENGTH - 4].strip("-") or "somebody"


def display_name(identity: Identity) -> str:
    """Return what a new account's person is called: one line, not too long, not empty."""
    called = identity.display_name or identity.username or identity.email or "Somebody"
    plain = "".join(s for s in called if unicodedata.category(s) not in {"Cc", "Cs"}).strip()
    return plain[:NAME_LENGTH] or "Somebody"
