"""Drum events as answered."""

from typing import Any
from uuid import UUID

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
