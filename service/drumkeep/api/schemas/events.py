"""Drum events as answered, and how they are described as sent."""

from typing import Any, Final
from uuid import UUID

from drumkeep.asgi.event_shapes import SHAPES, DrumIn
from drumkeep.asgi.fields import Answer, MomentOut


class MetOut(Answer):
    """What the computation made of a measurement, °C and K.

    ``computed_c`` and ``after_c`` are of the very thing that was measured: the liquid at that
    height, or the wall. ``expected_k`` is the standard deviation of the innovation. ``use``: used;
    began (nothing was known before); refused (too far off: measure again); confirmed (it bore out
    one that had been refused).
    """

    measured_c: float
    computed_c: float | None
    after_c: float | None
    innovation_k: float | None
    expected_k: float | None
    sigma_k: float
    use: str


class StrapMetOut(MetOut):
    """The same of a sensor strapped to a drum, once an hour."""

    at: MomentOut
    sensor: str
    what: str


class EventOut(Answer):
    """An event as recorded; ``data`` holds the kind's own fields, places as ``site/code``.

    ``met`` is of dips and skin readings: what the computation made of it.
    """

    id: UUID
    kind: str
    at: MomentOut
    recorded_at: MomentOut
    by: str
    data: dict[str, Any]
    note: str | None
    met: MetOut | None = None


def _described(schema: dict[str, Any]) -> dict[str, Any]:
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


_DRUM: Final = DrumIn.model_json_schema()

# Checked by the kind's own shape and not by the framework, which would name the shapes in its
# errors; so they are described here.
EVENT_BODY: Final = _described(
    {
        "title": "Event",
        "oneOf": [shape.model_json_schema() for shape in dict.fromkeys(SHAPES.values())],
        "discriminator": {"propertyName": "kind"},
    }
)
DRUM_BODY: Final = _described(
    {"title": "Drums", "oneOf": [_DRUM, {"type": "array", "items": _DRUM, "maxItems": 500}]}
)
