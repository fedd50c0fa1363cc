"""Places as sent and answered."""

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, MomentOut, Number, Whole


class PlaceIn(Body):
    """A new place; ``inside`` is another one as ``site/code``.

    ``wind_m_s`` replaces the speed that the motion stands for; ``crowding`` is alone, four (on a
    pallet) or block; ``sun`` that it lies in the open, ``absorptance`` what its drums take up.
    """

    site: Line
    code: Line
    name: Line
    kind: Line
    inside: Line | None = None
    motion: Line | None = None
    standing: Line | None = None
    wind_m_s: Number | None = None
    crowding: Line = "alone"
    sun: bool = False
    absorptance: Number | None = None
    set_point_c: Number | None = None
    capacity: Whole | None = None


class PlacePatch(Body):
    """What may change; what is left out stays."""

    name: Line = LEFT_OUT
    kind: Line = LEFT_OUT
    inside: Line | None = None
    motion: Line = LEFT_OUT
    standing: Line = LEFT_OUT
    wind_m_s: Number | None = None
    crowding: Line = LEFT_OUT
    sun: bool = LEFT_OUT
    absorptance: Number | None = None
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
    wind_m_s: float | None
    crowding: str
    sun: bool
    absorptance: float | None
    set_point_c: float | None
    capacity: int | None


class FilmIn(Body):
    """Pin the film of a place at a factor of the named one, or ``reset`` what was learned.

    ``half_range`` is how far off it may be, a factor either way; 1.1 if left out.
    """

    factor: Number | None = None
    half_range: Number | None = None
    reset: bool = False


class FilmOut(Answer):
    """By what factor a place's films differ from the named ones, from a time on (90 % range).

    ``source``: named (nothing else was ever said), learned, pinned or reset. ``dips`` is how many
    it was learned from.
    """

    factor: float
    half_range: float
    dips: int
    source: str
    since: MomentOut | None
    by: str | None
    recorded_at: MomentOut | None


class PlaceFilmOut(Answer):
    """The film of a place now, and all that was ever said of it, newest first.

    What was said counts from its time on and never backward.
    """

    place: str
    now: FilmOut
    history: list[FilmOut]
