"""Sparkplug groups as sent and answered."""

from typing import Annotated

from pydantic import Field

from drumkeep.asgi.fields import Answer, Body, Line, MomentOut


class UnitIn(Body):
    """The unit of metrics that say none: a pattern of ``device/metric``, and the unit."""

    pattern: Line
    unit: Line


class GroupIn(Body):
    """A group, or one edge node of it, and the gateway (site/code) on whose account it comes."""

    group: Line
    node: Annotated[str, Field(max_length=200)] = ""
    gateway: Line
    units: list[UnitIn] = Field(default_factory=list, max_length=100)
    asks: bool = True

    def pairs(self) -> list[tuple[str, str]]:
        """Return the units in the operations' form."""
        return [(one.pattern, one.unit) for one in self.units]


class GroupTrialIn(GroupIn):
    """A group and a message to try it with; the payload in hexadecimal digits or base64."""

    sample_topic: Line
    sample: str = Field(max_length=3_000_000)


class UnitOut(Answer):
    """The unit of metrics that say none."""

    pattern: str
    unit: str


class NodeOut(Answer):
    """An edge node that was heard; ``asked_at`` is when it was last asked for its births."""

    node: str
    alive: bool
    asked_at: MomentOut | None


class GroupOut(Answer):
    """A group that is read."""

    id: int
    group: str
    node: str
    gateway: str
    units: list[UnitOut]
    asks: bool
    nodes: list[NodeOut]
