"""Mappings of other devices' messages as sent and answered."""

from pydantic import Field

from drumkeep.asgi.fields import Answer, Body, Line, MomentOut
from drumkeep.operations.foreign import ForeignMap


class MapIn(Body):
    """Where the readings are: a filter of topics, and JMESPath expressions."""

    topic: Line
    items: Line = "@"
    name: Line
    value: Line
    unit: Line
    time: Line | None = None

    def as_map(self) -> ForeignMap:
        """Return it in the operations' form."""
        names = ("topic", "items", "name", "value", "unit", "time")
        return ForeignMap(**{name: getattr(self, name) for name in names})


class MappingIn(MapIn):
    """A new mapping; its readings come on the account of a gateway, written as site/code."""

    code: Line
    gateway: Line


class TrialIn(MapIn):
    """A mapping and a message to try it with: a topic, and the JSON as a text."""

    sample_topic: Line
    sample: str = Field(max_length=1_000_000)


class MappingOut(Answer):
    """A mapping."""

    code: str
    gateway: str
    topic: str
    items: str
    name: str
    value: str
    unit: str
    time: str | None


class TriedReading(Answer):
    """What an item of the sample would become."""

    item: int
    name: str
    quantity: str
    value: float
    at: MomentOut


class TriedRejection(Answer):
    """Why an item, or the sample, would become nothing."""

    item: int | None
    field: str
    value: str | None
    problem: str
    mend: str


class TrialOut(Answer):
    """What the sample would become; nothing was stored."""

    readings: list[TriedReading]
    rejections: list[TriedRejection]
