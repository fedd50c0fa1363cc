"""Consumables as sent and answered."""

from typing import Annotated
from uuid import UUID

from pydantic import Field

from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, Moment, MomentOut, Number


class ConsumableIn(Body):
    """Something to keep in a place; ``kind`` is nitrogen, desiccant, pump_lubricant or other."""

    place: Line
    kind: Line
    name: Line
    unit: Line
    minimum: Number | None = None


class ConsumablePatch(Body):
    """What may change; ``dropped`` takes it off the list, its entries stay."""

    name: Line = LEFT_OUT
    minimum: Number | None = None
    dropped: bool = LEFT_OUT


class ConsumableOut(Answer):
    """One of them; ``in_hand`` null before anybody counted; ``low``: less than the minimum."""

    id: int
    place: str
    kind: str
    name: str
    unit: str
    minimum: float | None
    in_hand: float | None
    low: bool
    last_at: MomentOut | None
    last_by: str | None


class EntryIn(Body):
    """What somebody did: took, added or counted; ``id`` is the client's."""

    id: ClientId
    deed: Line
    quantity: Number
    at: Moment | None = None
    note: Annotated[str, Field(min_length=1, max_length=500)] | None = None


class EntryOut(Answer):
    """An entry, and how much was there after it."""

    id: UUID
    deed: str
    quantity: float
    in_hand: float
    at: MomentOut
    by: str
    note: str | None
