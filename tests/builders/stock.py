"""Valid bodies of drums and of their events, as the API takes them; arguments replace or add."""

from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import uuid4

Body = dict[str, Any]

FIELDS: Final[dict[str, Body]] = {
    "moved": {"to": "?"},
    "wanted": {},
    "weighed": {"gross_kg": 200.0, "resolution_kg": 0.5},
    "topped": {"kg": 5.0, "from": "?"},
    "decanted": {"kg": 20.0, "to": "?"},
    "dipped": {"c": 18.5, "height_m": 0.1, "sigma_k": 0.3},
    "skin": {"c": 18.0, "height_m": 0.4},
    "opened": {},
    "resealed": {},
    "vented": {},
    "blanketed": {"gas": "nitrogen", "kpa": 14.0},
    "agitated": {"minutes": 30.0},
    "heated": {"device": "blanket heater", "watts": 400.0, "until": "?"},
    "held": {"reason": "a dent in the lid"},
    "released": {"reason": "the dent is old"},
    "inspected": {"reached_bottom": True, "solids": "none", "bulge": "none", "ring": "red"},
    "ratio_off": {},
    "emptied": {},
    "disposed": {},
    "corrected": {"event": "?", "void": True},
}
"""What each kind has beside ``id``, ``kind`` and ``at``; a question mark is for the test to say."""


def ago(hours: float = 0.0, **more: float) -> str:
    """Return the time so long ago as it is sent; negative for a time to come."""
    now = datetime.now(UTC)  # noqa: TID251 - the real service reads the real clock
    moment = now - timedelta(hours=hours, **more)
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def drum(*, product: str, lot: str, place: str, **changes: Any) -> Body:
    """Return a drum received an hour ago, dipped."""
    return {
        "id": str(uuid4()),
        "product": product,
        "lot": lot,
        "place": place,
        "at": ago(1.0),
        "liquid_c": 18.0,
    } | changes


def event(kind: str, **changes: Any) -> Body:
    """Return an event of this moment."""
    body = {"id": str(uuid4()), "kind": kind, "at": ago()} | FIELDS.get(kind, {}) | changes
    return {name: value for name, value in body.items() if value != "?"}
