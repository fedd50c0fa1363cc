"""What a scan of one of our own labels means: a drum or a place, by the address in its code.

A hand-held scanner types the whole address; people type a tag, or a place as ``site/code``.
"""

import re
from dataclasses import dataclass
from typing import Final

from drumkeep.domain import tags
from drumkeep.errors import Fault, Invalid

LONGEST: Final = 400

_DRUM: Final = re.compile(
    r"https?://[^/\s]+(?:/\S*)?/(?:d|drums)/([^/?#\s]+)(?:[?#]\S*)?", re.IGNORECASE
)
_PLACE: Final = re.compile(
    r"(?:https?://[^/\s]+(?:/\S*)?/places/)?([a-z0-9-]+/[a-z0-9-]+)/?(?:[?#]\S*)?", re.IGNORECASE
)


@dataclass(frozen=True)
class Scan:
    """A drum by its tag, or a place as ``site/code``; one of both."""

    tag: str | None = None
    place: str | None = None


def read(text: str, *, field: str = "scan") -> Scan:
    """Return what was scanned or typed.

    Raises
    ------
    Invalid
        It is neither a drum's nor a place's; the fault names the field.
    """
    written = text.strip()
    drum = _DRUM.fullmatch(written)
    if drum:
        return Scan(tag=tags.parse(drum[1], field=field))
    place = _PLACE.fullmatch(written)
    if place:
        return Scan(place=place[1].lower())
    if "/" in written or ":" in written:
        mend = "Scan the label of a drum or of a place, or type the tag, like K7Q-X4M."
        raise Invalid(
            "That is no label of ours.", [Fault(field, written, "is another address", mend)]
        )
    return Scan(tag=tags.parse(written, field=field))


def drum_read(text: str, *, field: str = "scan") -> str:
    """Return the tag that was scanned or typed.

    Raises
    ------
    Invalid
        It is none; of a place's label the fault says so.
    """
    scan = read(text, field=field)
    if scan.tag is None:
        mend = "Scan the label of the drum, or type its tag, like K7Q-X4M."
        raise Invalid("That is a place.", [Fault(field, scan.place, "is a place", mend)])
    return scan.tag
