"""What the service confirms: up to which pack everything of a spool file is stored.

Published retained, after the commit. Until a number is covered the gateway keeps its pack, so that
no broker has to be trusted.
"""

from typing import Annotated

import msgspec

from drumkeep_wire.errors import WireError


class Committed(msgspec.Struct, frozen=True):
    """A confirmation.

    Attributes
    ----------
    spool
        The spool file's eight hexadecimal digits.
    upto
        Every pack up to and with this number is stored; kept with a reason counts as stored.
    """

    spool: Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{8}$")]
    upto: Annotated[int, msgspec.Meta(ge=0)]


_decoder = msgspec.json.Decoder(Committed)


def encode_committed(committed: Committed) -> bytes:
    """Write it as JSON."""
    return msgspec.json.encode(committed)


def decode_committed(payload: bytes) -> Committed:
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
            "", None, f"is no confirmation ({error})", 'Send {"spool":"<8 hex>","upto":<number>}.'
        ) from None
