"""Products as sent and answered."""

from typing import Annotated, Any

from pydantic import Field

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line

Overrides = Annotated[dict[Line, Any], Field(max_length=40)]
Origins = Annotated[dict[Line, Annotated[str, Field(max_length=300)]], Field(max_length=60)]


class ProductIn(Body):
    """A new product; overrides name only what differs from the defaults of its side and cell.

    ``system``: what its A and its B have in common; only drums of one system may be hooked up.
    """

    code: Line
    name: Line
    side: Line
    cell: Line | None = None
    system: Line | None = None
    properties: Overrides = Field(default_factory=dict)
    limits: Overrides = Field(default_factory=dict)
    origins: Origins = Field(default_factory=dict)


class ProductPatch(Body):
    """What may change; overrides are replaced as a whole."""

    name: Line = LEFT_OUT
    system: Line | None = LEFT_OUT
    properties: Overrides = LEFT_OUT
    limits: Overrides = LEFT_OUT
    origins: Origins = LEFT_OUT


class FiguresOut(Answer):
    """What holds, overrides and defaults together, each with where it comes from."""

    properties: dict[str, float | str | list[tuple[float, float]] | dict[str, float | str] | None]
    limits: dict[str, float]
    origins: dict[str, str]


class ProductOut(Answer):
    """A product with its overrides as they were sent, and what holds with them."""

    code: str
    name: str
    side: str
    cell: str | None
    system: str | None
    properties: dict[str, Any]
    limits: dict[str, Any]
    origins: dict[str, str]
    in_force: FiguresOut
