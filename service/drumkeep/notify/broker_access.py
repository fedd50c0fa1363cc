"""Who may sign in at the broker, and to which topics: the text of Mosquitto's two files."""

import base64
import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from drumkeep_wire.topics import Topics

_SALT_OCTETS: Final = 12
_ITERATIONS: Final = 101
# Mosquitto's own default. Passwords are made here, of 128 random bits: no iterations are needed to
# protect them, and the broker checks everybody's again, in its only thread, whenever it reloads.

_HEAD: Final = "# Written by drumkeep; changes made here are lost (deploy/mosquitto/README.md).\n"


@dataclass(frozen=True)
class Holder:
    """A gateway that may sign in.

    Attributes
    ----------
    site, gateway
        Their codes.
    hash
        Of its password, as :func:`hashed` made it.
    foreign
        Filters of topics that it writes besides, for devices whose messages are mapped.
    commands
        Filters of topics on which such devices take commands.
    """

    site: str
    gateway: str
    hash: str
    foreign: tuple[str, ...] = ()
    commands: tuple[str, ...] = ()

    @property
    def username(self) -> str:
        """What it signs in as."""
        return username(site=self.site, gateway=self.gateway)


def username(*, site: str, gateway: str) -> str:
    """Return what a gateway signs in as; no two of all sites have the same."""
    return f"{site}/{gateway}"


def hashed(password: str, *, salt: bytes | None = None) -> str:
    """Return a password as Mosquitto keeps it.

    ``$7$iterations$salt$hash``: PBKDF2 with HMAC-SHA512 (RFC 8018), salt and hash in base64.

    Parameters
    ----------
    password
        In clear.
    salt
        12 octets; random unless given.
    """
    salt = secrets.token_bytes(_SALT_OCTETS) if salt is None else salt
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _ITERATIONS)
    shown = (base64.b64encode(octets).decode("ascii") for octets in (salt, digest))
    return "$".join(["", "7", str(_ITERATIONS), *shown])


def password_file(holders: Iterable[Holder]) -> str:
    """Return the text of ``password_file``; it takes no comments."""
    return "".join(f"{holder.username}:{holder.hash}\n" for holder in holders)


def acl_file(holders: Iterable[Holder], *, topics: Topics) -> str:
    """Return the text of ``acl_file``: what is not listed is refused."""
    return _HEAD + "".join(
        f"\nuser {holder.username}\n"
        f"topic write {topics.readings(site=holder.site, gateway=holder.gateway)}\n"
        f"topic write {topics.presence(site=holder.site, gateway=holder.gateway)}\n"
        + "".join(f"topic write {topic}\n" for topic in holder.foreign)
        + "".join(f"topic read {topic}\n" for topic in holder.commands)
        + f"topic read {topics.committed(site=holder.site, gateway=holder.gateway)}\n"
        for holder in holders
    )
