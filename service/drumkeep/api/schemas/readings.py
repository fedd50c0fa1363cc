"""What became of a pack of readings."""

from typing import Any, Final

from drumkeep.asgi.fields import Answer, MomentOut
from drumkeep_wire.senml import MEDIA_TYPE


class RejectionOut(Answer):
    """A record that was not stored: which, what about it, and what to send instead.

    ``index`` is its place in the pack, from 0; null where it is the pack as a whole.
    """

    index: int | None
    field: str
    value: Any
    problem: str
    mend: str


class ReceivedOut(Answer):
    """How many readings were new, how many were there already, and what was not stored."""

    stored: int
    duplicates: int
    rejected: list[RejectionOut]


class RejectedOut(Answer):
    """Why something that came was not stored; ``times`` how often the same came again."""

    received_at: MomentOut
    source: str
    record: int | None
    field: str
    value: str
    problem: str
    mend: str
    records: int
    times: int
    size: int
    begins: str


_NUMBER: Final = {"type": "number"}
_TEXT: Final = {"type": "string"}

PACK_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            MEDIA_TYPE: {
                "schema": {
                    "title": "SenML pack (RFC 8428)",
                    "type": "array",
                    "minItems": 1,
                    "items": {
                        "type": "object",
                        "properties": {
                            **dict.fromkeys(("bn", "bu", "n", "u", "vs", "vd"), _TEXT),
                            **dict.fromkeys(("bt", "bv", "bs", "v", "s", "t", "ut"), _NUMBER),
                            "bver": {"type": "integer"},
                            "vb": {"type": "boolean"},
                        },
                    },
                },
                "example": [
                    {"n": "urn:dev:ow:10e2073a01080063:temp", "u": "Cel", "v": -7.2, "t": -60}
                ],
            }
        },
    }
}
"""Documents a body that FastAPI does not read."""
