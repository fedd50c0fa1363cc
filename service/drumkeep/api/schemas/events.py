"""Drum events as answered, and how they are described as sent."""

from typing import Any, Final
from uuid import UUID

from drumkeep.asgi.event_shapes import SHAPES, DrumIn
from drumkeep.asgi.fields import Answer, MomentOut


class EventOut(Answer):
    """An event as recorded; ``data`` holds the kind's own fields, places as ``site/code``."""

    id: UUID
    kind: str
    at: MomentOut
    recorded_at: MomentOut
    by: str
    data: dict[str, Any]
    note: str | None


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
