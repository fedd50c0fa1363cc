"""Places as sent and answered."""

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, Number, Whole


class PlaceIn(Body):
    """A new place; ``inside`` is another one as ``site/code``."""

    site: Line
    code: Line
    name: Line
    kind: Line
    inside: Line | None = None
    motion: Line | None = None
    standing: Line | None = None
    set_point_c: Number | None = None
    capacity: Whole | None = None


class PlacePatch(Body):
    """What may change; what is left out stays."""

    name: Line = LEFT_OUT
    kind: Line = LEFT_OUT
    inside: Line | None = None
    motion: Line = LEFT_OUT
    standing: Line = LEFT_OUT
    set_point_c: Number | None = None
    capacity: Whole | None = None


class PlaceOut(Answer):
    """A place; ``place`` is how other bodies refer to it."""

    place: str
    site: str
    code: str
    name: str
    kind: str
    inside: str | None
    motion: str
    standing: str
    set_point_c: float | None
    capacity: int | None
