"""Who can sign in to the demo, with passphrases that are made here and can be spoken."""

import secrets
from dataclasses import dataclass
from typing import Final

from drumkeep.demo.folder import Folder

_FILE: Final = "sign-ins.json"
_GROUPS: Final = 4
_SYLLABLES: Final = 2
_CONSONANTS: Final = "bdfgklmnprstvz"
_VOWELS: Final = "aeiou"


@dataclass(frozen=True)
class SignIn:
    """An account of the demo; the first is the manager's."""

    name: str
    display_name: str
    role: str
    passphrase: str


PEOPLE: Final = (
    ("mara", "Mara", "manager"),
    ("dov", "Dov", "dispatcher"),
    ("cleo", "Cleo", "crew"),
    ("vic", "Vic", "viewer"),
)


def sign_ins(folder: Folder) -> dict[str, SignIn]:
    """Return the sign-ins by role; made at the first call and kept for their owner's eyes only."""
    kept = folder.read(_FILE)
    if kept is None:
        kept = {role: passphrase() for _, _, role in PEOPLE}
        folder.write(_FILE, kept)
    return {role: SignIn(name, shown, role, kept[role]) for name, shown, role in PEOPLE}


def passphrase() -> str:
    """Make one: eight syllables, about 49 bits, like ``tolu-mika-rado-nesu``."""

    def syllable() -> str:
        return secrets.choice(_CONSONANTS) + secrets.choice(_VOWELS)

    return "-".join("".join(syllable() for _ in range(_SYLLABLES)) for _ in range(_GROUPS))
