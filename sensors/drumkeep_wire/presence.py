"""What a gateway says about itself: that it is there, or not.

Published retained. The gateway leaves the offline form with the broker as its last will; that one
carries no time, because nobody can know beforehand when the line will break.
"""

from typing import Literal

import msgspec

from drumkeep_wire.errors import WireError


class Presence(msgspec.Struct, frozen=True):
    """A gateway's state.

    Attributes
    ----------
    state
        ``online`` or ``offline``.
    time
        Since when, seconds since 1970; None in a last will: when the broker noticed.
    """

    state: Literal["online", "offline"]
    time: float | None = None


_decoder = msgspec.json.Decoder(Presence)


def encode_presence(presence: Presence) -> bytes:
    """Write it as JSON."""
    return msgspec.json.encode(presence)


def decode_presence(payload: bytes) -> Presence:
    """Read it.

    Raises
    ------
    WireError
        It is no such object.
    """
    try:
        return _decoder.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise WireError(
            "",
            None,
            f"is no presence ({error})",
            'Send {"state":"online","time":<seconds since 1970>}.',
        ) from None
