"""Rig checks as sent and answered."""

from typing import Annotated

from pydantic import Field

from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import Answer, Body, Line, Moment, MomentOut, Number


class LookIn(Body):
    """What a look at a part found: fine, changed or see_note."""

    part: Line
    finding: Line
    pressure_kpa: Number | None = None
    note: Annotated[str, Field(min_length=1, max_length=500)] | None = None


class RigCheckIn(Body):
    """One round of looks at a rig; ``id`` is the client's."""

    id: ClientId
    place: Line
    at: Moment
    checks: Annotated[list[LookIn], Field(max_length=20)]


class RigCheckOut(Answer):
    """A look that was recorded."""

    place: str
    part: str
    finding: str
    pressure_kpa: float | None
    note: str | None
    at: MomentOut
    by: str


class RigPartOut(Answer):
    """Where a part of a rig stands in its week: never, done, due or overdue."""

    part: str
    state: str
    due_at: MomentOut | None
    last_at: MomentOut | None


class RigOut(Answer):
    """A rig and its parts."""

    place: str
    name: str
    parts: list[RigPartOut]
